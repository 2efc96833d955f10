"""Checks of the KiCad projects that KiCad itself cannot make, and the committed exports."""

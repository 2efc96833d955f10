"""The instrument view: histories as pyramids, what is drawn of them, and the numbers of a stretch."""

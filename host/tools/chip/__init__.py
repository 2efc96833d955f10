"""Measuring the firmware on the emulated Pico."""

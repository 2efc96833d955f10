"""Calibration: reference readings in; zero and gain of each channel out, with uncertainty and certificate."""

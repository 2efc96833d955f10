"""Verdicts: judging findings, tolerances, learning limits, comparing runs."""

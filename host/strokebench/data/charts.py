"""How many runs the control charts of a golden part rest on."""

from __future__ import annotations

REFERENCE = 20
"""Runs that the middle and the spread are taken from."""
FEWEST = 10
"""Of which so many must be there before anything is said."""

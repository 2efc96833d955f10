"""Control charts of a golden part: a part that is kept to check the bench."""

from __future__ import annotations

REFERENCE = 20
"""Runs that the middle and the spread are taken from."""
FEWEST = 10
"""Of which so many must be there before anything is said."""

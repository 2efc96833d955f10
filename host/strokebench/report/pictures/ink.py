"""The inks of all figures: each colour has one meaning."""

from __future__ import annotations

DARK, GREY, FAINT = "#1c2430", "#6b7580", "#d9dee4"
OPEN, CLOSE = "#1f5fa8", "#c8651b"
"""Opening and closing; also tracks A and B, and recordings A and B."""
THIRD = "#5a7d2a"
BAD, DOUBT, GOOD = "#b3261e", "#9a6b00", "#1b7f4b"

"""Numbers as a report writes them: the uncertainty with two digits, the value to the same place."""

from __future__ import annotations

import math

MINUS = "\u2212"
DIGITS = 2


def places(u: float) -> int:
    """Decimal places that show ``u`` with two significant digits (JCGM 100:2008, 7.2.6); at most 6, at least
    0."""
    if not math.isfinite(u) or u <= 0:
        return 2
    rounded = float(f"{u:.{DIGITS - 1}e}")  # 0.0998 is 0.10, not 0.100
    return min(6, max(0, DIGITS - 1 - math.floor(math.log10(rounded))))


def fixed(value: float, decimals: int) -> str:
    """Return ``value`` with a true minus sign; an en dash when it is not known."""
    if not math.isfinite(value):
        return "\u2013"
    text = f"{value:.{decimals}f}"
    if float(text) == 0:
        text = text.lstrip("-")
    return text.replace("-", MINUS)


def with_uncertainty(value: float, expanded_u: float) -> str:
    """Return "value +/- U" rounded to the uncertainty, the value alone when that is unknown or zero."""
    if not math.isfinite(value):
        return "\u2013"
    if not math.isfinite(expanded_u) or expanded_u <= 0:
        return fixed(value, 0 if float(value).is_integer() else 2)
    decimals = places(expanded_u)
    return f"{fixed(value, decimals)} \u00b1 {fixed(expanded_u, decimals)}"


def limits_text(lower: float | None, upper: float | None) -> str:
    """Return limits in words short enough for a table cell."""
    if lower is None and upper is None:
        return "none"
    if lower is None:
        return f"at most {_short(upper)}"
    if upper is None:
        return f"at least {_short(lower)}"
    return f"{_short(lower)} to {_short(upper)}"


def symbols(unit: str) -> str:
    """Return a unit with its proper signs."""
    return unit.replace("ohm", "\u2126").replace("A2", "A\u00b2")


def _short(value: float | None) -> str:
    return "" if value is None else f"{value:g}".replace("-", MINUS)


def span_text(span_s: tuple[float, float] | None) -> str:
    """Return where in the recording something was read."""
    if span_s is None:
        return ""
    start_s, end_s = span_s
    if end_s - start_s < 0.15:
        return f"{start_s:.2f} s"
    return f"{start_s:.1f}\u2013{end_s:.1f} s"

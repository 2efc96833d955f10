"""Make KiCad's SVG small enough to commit: lettering comes as thousands of two-point paths."""

from __future__ import annotations

import re

_LINE = re.compile(r'<path d="M(-?[\d.]+) (-?[\d.]+)\s*\nL(-?[\d.]+) (-?[\d.]+)\s*\n" />\n')
_RUN = re.compile(rf"(?:{_LINE.pattern}){{2,}}")
_DATE = re.compile(r"<title>.*?</title>\s*|<desc>Image generated.*?</desc>\s*", re.S)
_LONG = re.compile(r"\d+\.\d{4,6}(?!\d)")


def compact(text: str) -> str:
    """Join runs of two-point lines into one path (0.01 mm steps), drop date and trailing zeros.

    Two-point lines enclose nothing; the joined path is never filled.
    """
    text = _RUN.sub(_join, _DATE.sub("", text))
    return _LONG.sub(lambda m: m[0].rstrip("0").rstrip("."), text)


def _join(run: re.Match[str]) -> str:
    pieces = []
    at = None
    for line in _LINE.finditer(run[0]):
        x0, y0, x1, y1 = (round(float(v) * 100) for v in line.groups())
        if at != (x0, y0):
            pieces.append(f"M{x0 / 100:g} {y0 / 100:g}l")
        pieces.append(f"{(x1 - x0) / 100:g} {(y1 - y0) / 100:g} ")
        at = (x1, y1)
    return f'<path fill="none" d="{"".join(pieces).rstrip()}"/>\n'

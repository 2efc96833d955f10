"""Plain text as wide as the terminal: sentences that break between words, tables of one line a row."""

from __future__ import annotations

import shutil
import sys
import textwrap
from collections.abc import Sequence

MANY = 200
"""Rows from which a table is printed as plain lines: a hundred thousand take half a second this way."""
CUT = "…"
LEAST, LAST = 40, 8
"""Columns of the narrowest terminal; columns left for the last one."""


def columns(most: int | None = None) -> int:
    """Return the terminal's width in characters, at least :data:`LEAST`, and not above ``most``."""
    width = max(LEAST, shutil.get_terminal_size((most or 80, 24)).columns)
    return width if most is None else min(most, width)


def wrapped(text: str, inset: int = 2) -> str:
    """Return ``text`` broken between words; each of its lines goes on below itself, ``inset`` columns in."""
    width = columns()
    out = []
    for line in text.splitlines() or [""]:
        indent = " " * (len(line) - len(line.lstrip()) + inset)
        fits = len(line) <= width
        out.append(
            line if fits else textwrap.fill(line, width, subsequent_indent=indent, break_on_hyphens=False)
        )
    return "\n".join(out)


def print_lines(header: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    """Print ``rows`` below ``header``; columns that are too wide, and the last one, are cut with a mark."""
    width = columns()
    widths = [max(map(len, column)) for column in zip(header, *rows, strict=True)][:-1]
    if sum(widths) + len(widths) <= width - LAST:
        layout = "".join(f"{{:<{most}}} " for most in widths) + "{}"
        whole = [layout.format(*row).rstrip() for row in (header, *rows)]
        out = [line if len(line) <= width else line[: width - 1] + CUT for line in whole]
    else:
        narrow = _narrowed(widths, width)
        out = [_line(row, narrow, width) for row in (header, *rows)]
    sys.stdout.write("\n".join(out) + "\n")


def _narrowed(widths: Sequence[int], width: int) -> list[int]:
    """Return the widths, the widest made narrower until the last column has room."""
    narrow = list(widths)
    while sum(narrow) + len(narrow) > width - LAST:
        narrow[max(range(len(narrow)), key=narrow.__getitem__)] -= 1
    return narrow


def _line(row: Sequence[str], widths: Sequence[int], width: int) -> str:
    cells = [
        text.ljust(most) if len(text) <= most else text[: most - 1] + CUT
        for text, most in zip(row, widths, strict=False)
    ]
    line = " ".join((*cells, row[-1])).rstrip()
    return line if len(line) <= width else line[: width - 1] + CUT

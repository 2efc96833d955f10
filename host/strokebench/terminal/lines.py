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
    print_columns([list(column) for column in zip(header, *rows, strict=True)])


def print_columns(table: Sequence[Sequence[str]]) -> None:
    """The same for a table given by its columns, each with its head first."""
    width = columns()
    widths = _narrowed([max(map(len, column)) for column in table[:-1]], width)
    cells = [_cut(column, most) for column, most in zip(table[:-1], widths, strict=True)]
    layout = "".join(f"{{:<{most}}} " for most in widths) + "{}"
    last = width - sum(widths) - len(widths)
    out = map(str.rstrip, map(layout.format, *cells, _cut(table[-1], last)))
    sys.stdout.write("\n".join(out) + "\n")


def _cut(column: Sequence[str], most: int) -> Sequence[str]:
    if max(map(len, column)) <= most:
        return column
    return [text if len(text) <= most else text[: most - 1] + CUT for text in column]


def _narrowed(widths: Sequence[int], width: int) -> list[int]:
    """Return the widths, the widest made narrower until the last column has room."""
    narrow = list(widths)
    while sum(narrow) + len(narrow) > width - LAST:
        narrow[max(range(len(narrow)), key=narrow.__getitem__)] -= 1
    return narrow

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


def print_lines(header: Sequence[str], table: Sequence[Sequence[str]]) -> None:
    """Print the columns of ``table`` below ``header``; what is too wide is cut with a mark.

    It goes column by column: row by row a hundred thousand rows take four times as long.
    """
    width = columns()
    whole = [[name, *column] for name, column in zip(header, table, strict=True)]
    widths = _narrowed([max(map(len, column)) for column in whole[:-1]], width)
    for number, most in enumerate(widths):
        if max(map(len, whole[number])) > most:
            whole[number] = [_cut(text, most) for text in whole[number]]
    layout = "".join(f"%-{most}s " for most in widths) + "%s"
    lines = list(map(str.rstrip, map(layout.__mod__, zip(*whole, strict=True))))
    if max(map(len, lines)) > width:
        lines = [_cut(line, width) for line in lines]
    sys.stdout.write("\n".join(lines) + "\n")


def _narrowed(widths: Sequence[int], width: int) -> list[int]:
    """Return the widths, the widest made narrower until the last column has room."""
    narrow = list(widths)
    while sum(narrow) + len(narrow) > width - LAST:
        narrow[max(range(len(narrow)), key=narrow.__getitem__)] -= 1
    return narrow


def _cut(text: str, width: int) -> str:
    return text if len(text) <= width else text[: width - 1] + CUT

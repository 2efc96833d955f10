"""Lines of a foreign file as numbers: a block at a time by numpy's reader, line by line what that refuses."""

from __future__ import annotations

import csv
import io
import re
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from strokebench.errors import DataError
from strokebench.foreign.head import CLOCK, MISSING, NUMBER

Floats = NDArray[np.float64]
BEYOND = 9e36
"""A number of this size says that nothing was measured: SCPI-99 writes 9.9E37 for infinity and 9.91E37 for
what is no number."""
_QUOTED_COMMA = re.compile(r'"\s*([+-]?\d+),(\d+(?:[eE][+-]?\d+)?)\s*"')


@dataclass(frozen=True)
class Layout:
    """How rows are written: ``columns`` are the places of the wanted cells, ``names`` what they are called.

    ``clock``: the place among the wanted that holds a time of day, -1 without.
    """

    separator: str
    decimal_comma: bool
    columns: list[int]
    names: list[str]
    clock: int = -1


@dataclass(frozen=True)
class Block:
    """Numbers of the wanted columns, shape (rows, columns), NaN where a cell holds none; ``lines``: each
    row's number in the file; ``beyond``: cells that were beyond their range; ``short``: rows left out because
    they ended early."""

    values: Floats
    lines: NDArray[np.intp]
    beyond: int = 0
    short: int = 0


def read_block(text: str, layout: Layout, first_line: int, name: str, last: bool) -> Block:
    """Return whole lines as numbers; DataError naming line and column for what is none.

    ``last``: the text's end is the file's, where a row may have been cut off.
    """
    plain = _with_points(text, layout)
    values = _quick(plain, layout)
    if values is not None:
        lines = first_line + np.arange(len(values))
        beyond = np.abs(values) > BEYOND
        return Block(np.where(beyond, np.nan, values), lines, int(beyond.sum()))
    return _careful(plain, layout, first_line, name, last)


def _with_points(text: str, layout: Layout) -> str:
    if layout.decimal_comma:
        if layout.separator != ",":
            return text.replace(",", ".")
        return _QUOTED_COMMA.sub(r"\1.\2", text)
    return text


def _quick(text: str, layout: Layout) -> Floats | None:
    """Numbers of lines that are all rows, None when one of them is not."""
    if layout.clock >= 0 or "#" in text or "\n\n" in text or not text.strip():
        return None
    separator = None if layout.separator == " " else layout.separator
    try:
        return np.loadtxt(
            io.StringIO(text),
            delimiter=separator,
            usecols=layout.columns,
            ndmin=2,
            comments=None,
            quotechar='"',
        )
    except (ValueError, IndexError):
        return None


def _careful(text: str, layout: Layout, first_line: int, name: str, last: bool) -> Block:
    """Line by line: empty lines, comments, cells without a number, rows that end early at the file's end."""
    found, lines, beyond, short = [], [], 0, 0
    numbered = list(enumerate(text.splitlines(), first_line))
    wanted, needed = layout.columns, max(layout.columns)
    for number, line in numbered:
        if not line.strip() or line.lstrip().startswith("#") or not line.strip(f'{layout.separator} \t"'):
            continue
        cells = cells_of(line, layout.separator)
        if len(cells) <= needed:
            if last and number == numbered[-1][0]:
                short += 1
                continue
            raise DataError(f"{name}, line {number}: the row has too few columns.", "Export the file again.")
        row = []
        for place, column in enumerate(wanted):
            value = _number(cells[column].strip(), place == layout.clock)
            if value is None:
                raise DataError(
                    f"{name}, line {number}: {cells[column].strip()!r} is not a number in column"
                    f" {layout.names[place]!r}.",
                    "Correct or remove that row.",
                )
            beyond += abs(value) > BEYOND
            row.append(value)
        found.append(row)
        lines.append(number)
    values = np.array(found, float).reshape(-1, len(wanted))
    values[np.abs(values) > BEYOND] = np.nan
    return Block(values, np.array(lines, np.intp), beyond, short)


def cells_of(line: str, separator: str) -> list[str]:
    """Return the cells of a line."""
    if separator == " ":
        return line.split()
    if '"' not in line:
        return line.split(separator)
    return next(csv.reader(io.StringIO(line), delimiter=separator), [])


def _number(cell: str, clock: bool) -> float | None:
    """What a cell says: NaN for nothing, infinite for beyond the range, None for something else."""
    if clock and (found := CLOCK.match(cell)):
        return 3600 * int(found.group(1)) + 60 * int(found.group(2)) + float(found.group(3).replace(",", "."))
    try:
        return float(cell)
    except ValueError:
        pass
    if not cell or cell.lower().startswith("n") or not cell.strip("-*#?"):
        return np.nan
    if NUMBER.match(cell):
        return None  # a decimal comma where none is expected
    return (-np.inf if "-" in cell else np.inf) if MISSING.match(cell) else None

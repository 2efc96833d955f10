"""What stands above the rows: which character separates, the line of names, units, and lines before them."""

from __future__ import annotations

import csv
import io
import re
from collections import Counter
from dataclasses import dataclass, field

from strokebench.foreign.units import plain, unit

SEPARATORS = (";", "\t", ",", "|", " ")
LOOKED_AT_ROWS = 60
PREAMBLE = 60
"""The line of names is looked for in so many lines."""
NUMBER = re.compile(r"[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d+)?$")
CLOCK = re.compile(r"(?:.*[ T])?(\d{1,2}):(\d\d):(\d\d(?:[.,]\d+)?)$")
MISSING = re.compile(
    r"(?:[+-]?(?:nan|inf(?:inity)?|∞|1\.#\w+)|[<>]?\s*[+-]?(?:ol|o\.l|over(?:load|range|flow)?|clipp?(?:ed|ing)?)"
    r"|[<>]\s*[+-]?[\d.,]+(?:e[+-]?\d+)?|n/?a|null|none|[-*#?]+)$",
    re.IGNORECASE,
)
"""What stands in a cell for a number that is not there or beyond the range."""
DECIMAL_COMMA = re.compile(r"\d,\d")


@dataclass(frozen=True)
class Head:
    """``names`` of the columns, made plain; ``units`` the words right below them, empty without; the rows
    begin below ``skip`` lines of the file. ``above``: cells of the lines before the names. ``first``: cells
    of the first rows."""

    separator: str
    names: list[str]
    units: list[str]
    skip: int
    above: list[list[str]] = field(default_factory=list)
    first: list[list[str]] = field(default_factory=list)

    @property
    def decimal_comma(self) -> bool:
        """True when numbers are written with a decimal comma."""
        cells = [cell for row in self.first for cell in row if NUMBER.match(cell)]
        commas = sum(bool(DECIMAL_COMMA.search(cell)) for cell in cells)
        return commas > 0 and not any("." in cell for cell in cells)


def read_head(text: str, time_names: tuple[str, ...]) -> Head | None:
    """Return the head of a file whose first lines are ``text``, None when there are no lines.

    The names are in the first line that holds one of ``time_names``, else right above the rows of numbers.
    """
    if not any(_counts(line) for line in text.splitlines()):
        return None
    for separator in sorted(SEPARATORS, key=lambda sign: -_usual_count(text, sign)):
        records = _records(text, separator)
        for at, (_, cells) in enumerate(records[:PREAMBLE]):
            if any(_names_time(cell, time_names) for cell in cells if cell):
                return _below(records, at, separator)
    separator = _separator(text)
    records = _records(text, separator)
    at, pattern = _first_row(records)
    if pattern is None:
        return _below(records, 0, separator)
    names = _names_above(records, at, len(records[at][1]))
    if names is None:
        count = len(records[at][1])
        above = [cells for _, cells in records[:at]]
        skip = records[at - 1][0] if at else 0
        return Head(separator, [str(n + 1) for n in range(count)], [], skip, above, _rows(records[at:]))
    return _below(records, names, separator, at)


def _names_time(cell: str, names: tuple[str, ...]) -> bool:
    return any(cell == name or re.fullmatch(rf"{re.escape(cell)}\s*([*/+-].*)?", name) for name in names)


def _counts(line: str) -> bool:
    return bool(line.strip()) and not line.lstrip().startswith("#")


def _usual_count(text: str, sign: str) -> float:
    """How often ``sign`` separates in the lines that count; a blank counts least, a comma next to that."""
    lines = [line for line in text.splitlines() if _counts(line)]
    counts = sorted(line.strip().count(sign) for line in lines[: 3 * LOOKED_AT_ROWS])
    often = counts[len(counts) // 2] + (max(counts) > 0) * 0.5
    return often * {" ": 0.01, ",": 0.4}.get(sign, 1.0)


def _separator(text: str) -> str:
    """The separator with which most rows have the same pattern of numbers."""
    best = max(SEPARATORS, key=lambda sign: (_evenness(text, sign), _usual_count(text, sign)))
    return best if _usual_count(text, best) > 0 else ","


def _evenness(text: str, separator: str) -> float:
    patterns = Counter(_pattern(cells) for _, cells in _records(text, separator)[: 4 * LOOKED_AT_ROWS])
    rows = {pattern: count for pattern, count in patterns.items() if pattern.count("n") > 1}
    return max(rows.values(), default=0)


def _records(text: str, separator: str) -> list[tuple[int, list[str]]]:
    """Cells of the lines that count, each with the number of the line that it ends in."""
    if separator == " ":
        lines = enumerate(text.splitlines(), 1)
        return [(number, [plain(cell) for cell in line.split()]) for number, line in lines if _counts(line)]
    reader = csv.reader(io.StringIO(text), delimiter=separator, skipinitialspace=True)
    found = []
    try:
        for cells in reader:
            if any(cell.strip() for cell in cells) and not cells[0].lstrip().startswith("#"):
                found.append((reader.line_num, [plain(cell) for cell in cells]))
            if len(found) > 5 * LOOKED_AT_ROWS:
                break
    except csv.Error:
        pass
    return found


def _pattern(cells: list[str]) -> str:
    """A letter for each cell up to the last that is filled: n number, e nothing or beyond the range, t
    text."""
    letters = "".join(
        "e" if not cell or MISSING.match(cell) else "n" if NUMBER.match(cell) or CLOCK.match(cell) else "t"
        for cell in cells
    )
    return letters.rstrip("e")


def _first_row(records: list[tuple[int, list[str]]]) -> tuple[int, str | None]:
    """Place and pattern of the first row of numbers: of the pattern that most lines have."""
    patterns = [_pattern(cells) for _, cells in records]
    usual = Counter(pattern for pattern in patterns if "n" in pattern).most_common(1)
    if not usual:
        return 0, None
    pattern = usual[0][0]
    at = patterns.index(pattern)
    while at > 0 and _alike(patterns[at - 1], pattern):
        at -= 1
    return at, pattern


def _alike(pattern: str, usual: str) -> bool:
    """True for a row that is as usual but for empty cells."""
    return "n" in pattern and all(a in (b, "e") or b == "e" for a, b in zip(pattern, usual, strict=False))


def _names_above(records: list[tuple[int, list[str]]], at: int, count: int) -> int | None:
    """Place of the line of names above a first row: below it there may be a line of units."""
    for place in (at - 2, at - 1):
        if place < 0:
            continue
        cells = [cell for cell in records[place][1] if cell]
        below = records[at - 1][1]
        if not cells or len(records[place][1]) < min(count, 2) or any(map(NUMBER.match, cells)):
            continue
        if place == at - 1 or (any(map(unit, below)) and not any(map(NUMBER.match, below))):
            return place
    return None


def _below(records: list[tuple[int, list[str]]], at: int, separator: str, row: int | None = None) -> Head:
    """The head whose names are in ``records[at]``; ``row``: place of the first row where that is known."""
    line, names = records[at]
    units: list[str] = []
    if row is None:
        row = at + 1
        if row < len(records) and _is_units(records[row][1]):
            row += 1
    if row > at + 1:
        units, line = records[row - 1][1], records[row - 1][0]
    above = [cells for _, cells in records[:at]]
    return Head(separator, names, units, line, above, _rows(records[row:]))


def _is_units(cells: list[str]) -> bool:
    """True for words without a digit; what stands for a missing number is none."""
    filled = [cell for cell in cells if cell]
    return bool(filled) and not any(
        NUMBER.match(cell) or CLOCK.match(cell) or MISSING.match(cell) or any(map(str.isdigit, cell))
        for cell in filled
    )


def _rows(records: list[tuple[int, list[str]]]) -> list[list[str]]:
    return [cells for _, cells in records[:LOOKED_AT_ROWS]]

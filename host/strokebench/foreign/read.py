"""Recordings that came from elsewhere: CSV files with our column names, or mapped onto them.

``read_csv("scope.csv", 'time="Time [s]",current_a="CH1*100",sensor_a_v="CH2-0.01"')`` takes a file whose
columns are called otherwise.  Commas, semicolons and tabs separate (with the latter two, decimal commas are
read too); lines that begin with ``#``, empty lines, what stands above the line of names and a line of units
right below it are skipped.
"""

from __future__ import annotations

import io
import itertools
import re
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from strokebench.data.run import Mark, RunData
from strokebench.data.samples import Samples, empty
from strokebench.errors import BookError, DataError
from strokebench.foreign.checks import check_rows
from strokebench.foreign.columns import TELLS_DRIVE, Source, parse_map, sources
from strokebench.foreign.grid import at_tick_rate, fast_current

PREAMBLE = 60
"""The line of names is looked for in so many lines."""


def read_csv(path: str | Path, mapping: str = "") -> RunData:
    """Return a CSV file as a run, rates 100 Hz to 500 kHz; columns not there are NaN.

    Needed are the time and the current or a sensor's voltage; the drive is worked out from supply and output
    volts where it is not given.  A faster current is kept beside the rows (:mod:`strokebench.foreign.grid`).
    Columns ``segment`` and ``label`` (as our own export writes them) become marks.  Raises :class:`DataError`
    with one sentence for whatever is wrong, :class:`BookError` when the file cannot be read.
    """
    path = Path(path)
    mapped = parse_map(mapping)
    lines, numbers = _content(path)
    top, separator, header = _header(lines, mapped.get("time_s", "time_s"))
    wanted = sources(mapped, header, path.name)
    top += _units_below(lines[top + 1 : top + 2], separator, header, wanted)
    lines, numbers = lines[top + 1 :], numbers[top + 1 :]
    if not lines:
        raise _no_rows(path)
    table = _numbers(lines, numbers, separator, header, wanted, path.name)
    rows = empty(len(table))
    for column, source in enumerate(wanted):
        rows[source.target] = table[:, column] * source.scale + source.offset
    given = {source.target for source in wanted}
    if "output_a_v" in given and "output_b_v" not in given:
        rows["output_b_v"] = 0.0  # volts across the part, or of the one leg that switches
    check_rows(rows, numbers, path.name, [source.target for source in wanted])
    if "drive" not in given and given.issuperset(TELLS_DRIVE):
        rows["drive"] = drive_from_volts(rows)
    marks = _marks(lines, separator, header, rows)
    info = {"source": path.name, "engine": "import"}
    return RunData(samples=at_tick_rate(rows), marks=marks, bursts=fast_current(rows), info=info)


def drive_from_volts(rows: Samples) -> NDArray[np.float64]:
    """Return the drive of a recording that lacks it: volts between the outputs over volts of the supply.

    The bridge's own drop makes it a few per cent smaller at high current.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        share = (rows["output_a_v"] - rows["output_b_v"]) / rows["supply_v"]
    return np.asarray(np.clip(np.where(np.isfinite(share), share, 0.0), -1.0, 1.0), float)


def _content(path: Path) -> tuple[list[str], list[int]]:
    """Return the lines that count, and their numbers in the file."""
    try:
        text = path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError:
        raise DataError(f"{path.name} is not a text file in UTF-8.", "Export it as CSV.") from None
    except OSError as error:
        raise BookError(f"{path} cannot be read: {error.strerror}.", "Check name and permissions.") from None
    kept = [(line, number) for number, line in enumerate(text.splitlines(), 1) if _counts(line)]
    if len(kept) < 2:
        raise _no_rows(path)
    return [line for line, _ in kept], [number for _, number in kept]


def _no_rows(path: Path) -> DataError:
    return DataError(f"{path.name} holds no rows.", "A line of names and rows of numbers are needed.")


def _counts(line: str) -> bool:
    return bool(line.strip()) and not line.lstrip().startswith("#")


def _split(line: str, separator: str) -> list[str]:
    import csv

    return next(csv.reader(io.StringIO(line), delimiter=separator))


def _header(lines: list[str], time_name: str) -> tuple[int, str, list[str]]:
    """Return the place of the line of names, what separates its cells, and the names.

    It is the first line that holds the time's name; without one, the first.
    """
    for at, line in enumerate(lines[:PREAMBLE]):
        separator = max(",;\t", key=line.count)
        header = [cell.strip().strip('"') for cell in _split(line, separator)]
        if any(cell and re.fullmatch(rf"{re.escape(cell)}\s*([*/+-].*)?", time_name) for cell in header):
            return at, separator, header
    separator = max(",;\t", key=lines[0].count)
    return 0, separator, [cell.strip().strip('"') for cell in _split(lines[0], separator)]


def _units_below(lines: list[str], separator: str, header: list[str], wanted: list[Source]) -> int:
    """Return 1 when the line below the names holds words without a digit in every wanted column, else 0."""
    cells = _split(lines[0], separator) if lines else []
    places = [header.index(source.column) for source in wanted]
    if not cells or max(places) >= len(cells):
        return 0
    texts = [cells[place].strip() for place in places]
    return int(all(word and not any(map(str.isdigit, word)) and word.lower() != "nan" for word in texts))


def _numbers(
    lines: list[str], numbers: list[int], separator: str, header: list[str], wanted: list[Source], name: str
) -> NDArray[np.float64]:
    """Return the wanted columns as floats; a cell that is none is an error naming its line."""
    if separator != ",":
        lines = [line.replace(",", ".") for line in lines]
    columns = [header.index(source.column) for source in wanted]
    try:
        return np.loadtxt(lines, delimiter=separator, usecols=columns, ndmin=2, comments=None, quotechar='"')
    except (ValueError, IndexError) as error:
        found = re.search(r"string '(.*)' to float64 at row (\d+), column (\d+)", str(error))
        if found is None:
            row = re.search(r"row (\d+)", str(error))
            at = f", line {numbers[int(row.group(1)) - 1]}" if row else ""
            raise DataError(f"{name}{at}: the row has too few columns.", "Export the file again.") from None
        cell, row_number, column = found.group(1), int(found.group(2)), int(found.group(3))
        what = f"{cell!r} is not a number" if cell.strip() else "there is no number"
        raise DataError(
            f"{name}, line {numbers[row_number]}: {what} in column {header[column - 1]!r}.",
            "Correct or remove that row.",
        ) from None


def _marks(lines: list[str], separator: str, header: list[str], rows: Samples) -> list[Mark]:
    """Return the stretches of equal ``segment`` and ``label``, where the file has those columns."""
    if "label" not in header:
        return []
    places = [header.index(name) for name in ("label", "segment", "kind") if name in header]
    cells = [[cells[place] for place in places] for cells in (_split(line, separator) for line in lines)]
    time_s = rows["time_s"]
    edges = [0, *(n for n in range(1, len(cells)) if cells[n] != cells[n - 1]), len(cells)]
    step_s = float(np.median(np.diff(time_s))) if len(rows) > 1 else 0.001
    marks: list[Mark] = []
    for start, stop in itertools.pairwise(edges):
        end_s = float(time_s[stop]) if stop < len(rows) else float(time_s[-1]) + step_s
        label, kind = cells[start][0], cells[start][2] if len(places) > 2 else ""
        if label:
            marks.append(Mark(label, float(time_s[start]), end_s, len(marks), kind))
    return marks

"""Recordings that came from elsewhere: CSV files with our column names, or mapped onto them.

``read_csv("scope.csv", 'time="Time [s]",current_a="CH1*100",sensor_a_v="CH2-0.01"')`` takes a file whose
columns are called otherwise.  Commas, semicolons (then also decimal commas) and tabs separate; lines that
begin with ``#`` and empty lines are skipped.
"""

from __future__ import annotations

import io
import itertools
import re
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from strokebench.errors import BookError, DataError
from strokebench.foreign_checks import check_rows
from strokebench.foreign_map import Source, parse_map, sources
from strokebench.run_data import Mark, RunData
from strokebench.samples import Samples, empty

TICK_HZ = 1000.0
"""Faster recordings are averaged down to the bench's own rate, which the diagnosis is made for."""


def read_csv(path: str | Path, mapping: str = "") -> RunData:
    """Return a CSV file as a run, rates 100 Hz to 500 kHz; columns not there are NaN.

    Columns ``segment`` and ``label`` (as our own export writes them) become marks.  Raises :class:`DataError`
    with one sentence for whatever is wrong, :class:`BookError` when the file cannot be read.
    """
    path = Path(path)
    lines, numbers = _content(path)
    separator = max(",;\t", key=lines[0].count)
    header = [cell.strip().strip('"') for cell in _split(lines[0], separator)]
    wanted = sources(parse_map(mapping), header, path.name)
    table = _numbers(lines[1:], numbers[1:], separator, header, wanted, path.name)
    rows = empty(len(table))
    for column, source in enumerate(wanted):
        rows[source.target] = table[:, column] * source.scale + source.offset
    given = {source.target for source in wanted}
    if "output_a_v" in given and "output_b_v" not in given:
        rows["output_b_v"] = 0.0  # volts across the part, or of the one leg that switches
    if "drive" not in given:
        rows["drive"] = drive_from_volts(rows)
    check_rows(rows, numbers[1:], path.name, [source.target for source in wanted])
    marks = _marks(lines[1:], separator, header, rows)
    return RunData(samples=_at_tick_rate(rows), marks=marks, info={"source": path.name, "engine": "import"})


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
        raise DataError(
            f"{path.name} holds no rows.", "A header line and at least one row of numbers are needed."
        )
    return [line for line, _ in kept], [number for _, number in kept]


def _counts(line: str) -> bool:
    return bool(line.strip()) and not line.lstrip().startswith("#")


def _split(line: str, separator: str) -> list[str]:
    import csv

    return next(csv.reader(io.StringIO(line), delimiter=separator))


def _numbers(
    lines: list[str], numbers: list[int], separator: str, header: list[str], wanted: list[Source], name: str
) -> NDArray[np.float64]:
    """Return the wanted columns as floats; a cell that is none is an error naming its line."""
    if separator == ";":
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


def _at_tick_rate(rows: Samples) -> Samples:
    """Return ``rows`` averaged to 1 kHz when they are at least twice as fast."""
    if len(rows) < 2:
        return rows
    block = int(1 / float(np.median(np.diff(rows["time_s"]))) / TICK_HZ + 0.5)
    if block < 2:
        return rows
    whole = rows[: len(rows) // block * block].reshape(-1, block)
    slow = empty(len(whole))
    for name in rows.dtype.names or ():
        slow[name] = whole[name].max(axis=1) if name in ("state", "fault") else whole[name].mean(axis=1)
    return slow

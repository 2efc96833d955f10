"""CSV files from elsewhere, in our column names or mapped to them, in whatever dialect they are written.

Separator, decimal commas, encoding, the line of names, units and lines above them are recognised, not asked
for (:mod:`strokebench.foreign.head`); what the columns are is, unless name and unit say it
(:mod:`strokebench.foreign.guess`).  A file is read in pieces, so memory is bounded by what is kept of it:
means over 1 ms, and the current up to 100 kHz.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from strokebench.data.run import Mark, RunData
from strokebench.data.samples import Samples, empty
from strokebench.errors import DataError
from strokebench.foreign import checks
from strokebench.foreign.columns import MEASURED, ROW, TELLS_DRIVE, Source, parse_map, sources
from strokebench.foreign.grid import Grid
from strokebench.foreign.guess import guess
from strokebench.foreign.head import CLOCK, Head, read_head
from strokebench.foreign.rows import Block, Layout, cells_of, read_block
from strokebench.foreign.text import Progress, encoding_of, first_lines, pieces

MARKS = ("label", "segment", "kind")
MOST_MISSING = 0.1
"""Share of the rows that may lack a number; more is not a recording of it."""


@dataclass
class Reading:
    """What is known so far of a file that is being read: see :func:`read_csv`."""

    path: Path
    head: Head
    wanted: list[Source]
    rows: int = 0
    rate_hz: float = 0.0
    missing: dict[str, int] = field(default_factory=dict)
    beyond: int = 0
    notes: list[str] = field(default_factory=list)
    edges: list[tuple[float, tuple[str, ...]]] = field(default_factory=list)


def read_csv(path: str | Path, mapping: str = "", progress: Progress | None = None) -> RunData:
    """Return a CSV file as a run, rates 100 Hz to 500 kHz; columns not there are NaN.

    Needed are the time and the current or a sensor's voltage; the drive is worked out from supply and output
    volts where it is not given.  A faster current is kept beside the rows (:mod:`strokebench.foreign.grid`).
    Columns ``segment`` and ``label`` (as our own export writes them) become marks.  What was understood is in
    ``info["understood"]``.  Raises :class:`DataError` with one sentence for whatever is wrong,
    :class:`BookError` when the file cannot be read.
    """
    path = Path(path)
    mapped = parse_map(mapping)
    encoding = encoding_of(path)
    head = read_head(first_lines(path, encoding), (mapped.get("time_s", "time_s"),))
    if head is None:
        raise _no_rows(path)
    reading = Reading(path, head, [])
    reading.wanted = _wanted(reading, mapped)
    reading.notes.insert(0, _dialect(encoding, head))
    grid, times = Grid(), checks.Times(path.name)
    for block, rows in _blocks(reading, encoding, progress):
        kept = times.check(rows, block.lines)
        reading.rows += len(kept)
        grid.add(kept)
    if not reading.rows:
        raise _no_rows(path)
    samples, bursts = grid.finish()
    times.finish(reading.rows)
    reading.rate_hz = times.rate_hz
    _check_whole(reading, samples)
    info = {"source": path.name, "engine": "import", "understood": _understood(reading, samples)}
    return RunData(samples=samples, marks=_marks(reading, samples), bursts=bursts, info=info)


def _wanted(reading: Reading, mapped: dict[str, str]) -> list[Source]:
    """Where each column comes from: as mapped, as named, else as guessed where that is certain."""
    head, name = reading.head, reading.path.name
    own = {"time_s", *MEASURED} & {*head.names, *mapped}
    if mapped or len(own) > 1:
        return sources(mapped, head.names, head.units, name)
    found = guess(head)
    if not head.first and "time_s" not in head.names:
        raise _no_rows(reading.path)
    if not found.sure or not {"time_s"} < found.mapping.keys():
        if not found.mapping.keys() & set(MEASURED) or "time_s" not in found.mapping:
            return sources(mapped, head.names, head.units, name)  # says what is missing
        raise DataError(
            f"{name}: {found.why}.",
            "Say what the columns are. If this is right, repeat the command with it:\n" + found.as_option,
        )
    if found.unused:
        reading.notes.append(f"not used: {', '.join(found.unused)}")
    return sources(found.mapping, head.names, head.units, name)


def _blocks(reading: Reading, encoding: str, progress: Progress | None) -> Iterator[tuple[Block, Samples]]:
    """Yield the rows that have all their numbers, in blocks."""
    head, layout = reading.head, _layout(reading)
    line, first, counted = head.skip + 1, True, 0
    text = pieces(reading.path, encoding, head.skip, progress)
    upcoming = next(text, None)
    while upcoming is not None:
        piece, upcoming = upcoming, next(text, None)
        block = read_block(piece, layout, line, reading.path.name, upcoming is None)
        begins, line = line, line + piece.count("\n")
        if not len(block.values):
            continue
        if first:
            reading.wanted, layout, block = _without_dead(reading, layout, block)
            first = False
        reading.beyond += block.beyond
        block = _complete(reading, block)
        if "label" in head.names:
            _edges(reading, block, piece.splitlines(), begins)
        yield block, _as_rows(reading, block, counted)
        counted += len(block.values)


def _layout(reading: Reading) -> Layout:
    head, wanted = reading.head, reading.wanted
    columns = [head.names.index(source.column) if source.column in head.names else -1 for source in wanted]
    written = [column for column in columns if column >= 0]
    clocks = [
        place for place, column in enumerate(written)
        if any(column < len(row) and CLOCK.match(row[column]) for row in head.first)
    ]  # fmt: skip
    names = [head.names[column] for column in written]
    return Layout(head.separator, head.decimal_comma, written, names, clocks[0] if clocks else -1)


def _without_dead(reading: Reading, layout: Layout, block: Block) -> tuple[list[Source], Layout, Block]:
    """Leave out columns in which the first rows hold no number at all; DataError when none is left."""
    alive: NDArray[np.bool_] = np.asarray(np.isfinite(block.values).any(axis=0))
    written = [source for source in reading.wanted if source.column != ROW or ROW in reading.head.names]
    dead = [source for source, lives in zip(written, alive, strict=True) if not lives]
    if not dead:
        return reading.wanted, layout, block
    kept = [source for source in reading.wanted if source not in dead]
    targets = {source.target for source in kept}
    if targets.isdisjoint(MEASURED) or "time_s" not in targets:
        names = " or ".join(source.target for source in dead if source.target in (*MEASURED, "time_s"))
        beyond = block.beyond >= len(block.values)
        raise DataError(
            f"{reading.path.name} holds no number in {names}"
            + (": every reading is beyond its range." if beyond else "."),
            "Record it in a wider range."
            if beyond
            else "Export it with the current, or with a sensor's voltage.",
        )
    reading.notes.append(f"without any number: {', '.join(source.column for source in dead)}")
    reading.wanted = kept
    return kept, _layout(reading), replace(block, values=block.values[:, alive], beyond=0)


def _complete(reading: Reading, block: Block) -> Block:
    """Leave out the rows that lack a number, and count them by column."""
    bad: NDArray[np.bool_] = ~np.isfinite(block.values)
    if not bad.any():
        return block
    written = [source for source in reading.wanted if source.column != ROW or ROW in reading.head.names]
    for source, column in zip(written, bad.T, strict=True):
        if column.any():
            reading.missing[source.target] = reading.missing.get(source.target, 0) + int(column.sum())
    gone: NDArray[np.bool_] = np.asarray(bad.any(axis=1))
    if gone.sum() > MOST_MISSING * len(gone):
        worst = max(reading.missing, key=lambda target: reading.missing[target])
        column = bad[:, [source.target for source in written].index(worst)]
        raise DataError(
            f"{reading.path.name}: {worst} is not a number in {int(column.sum())} of {len(gone)} rows,"
            f" first in line {block.lines[np.argmax(column)]}.",
            "Remove those rows, or leave the column out.",
        )
    return replace(block, values=block.values[~gone], lines=block.lines[~gone])


def _as_rows(reading: Reading, block: Block, counted: int) -> Samples:
    """Return a block in our columns and units."""
    rows = empty(len(block.values))
    columns = iter(block.values.T)
    for source in reading.wanted:
        by_row = source.column == ROW and ROW not in reading.head.names
        values = counted + np.arange(len(rows)) if by_row else next(columns)
        rows[source.target] = values * source.scale + source.offset
    given = {source.target for source in reading.wanted}
    if "output_a_v" in given and "output_b_v" not in given:
        rows["output_b_v"] = 0.0  # volts across the part, or of the one leg that switches
    checks.magnitudes(rows, block.lines, reading.path.name, sorted(given))
    if "drive" not in given and given.issuperset(TELLS_DRIVE):
        rows["drive"] = drive_from_volts(rows)
    return rows


def drive_from_volts(rows: Samples) -> NDArray[np.float64]:
    """Return the drive of a recording that lacks it: volts between the outputs over volts of the supply.

    The bridge's own drop makes it a few per cent smaller at high current.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        share = (rows["output_a_v"] - rows["output_b_v"]) / rows["supply_v"]
    return np.asarray(np.clip(np.where(np.isfinite(share), share, 0.0), -1.0, 1.0), float)


def _no_rows(path: Path) -> DataError:
    return DataError(f"{path.name} holds no rows.", "A line of names and rows of numbers are needed.")


def _edges(reading: Reading, block: Block, lines: list[str], first_line: int) -> None:
    """Keep where segment and label change, with the time of the row; ``lines`` of the piece of the file."""
    head = reading.head
    places = [head.names.index(name) for name in MARKS if name in head.names]
    time = next(source for source in reading.wanted if source.target == "time_s")
    at = [source for source in reading.wanted if source.column in head.names].index(time)
    for line, value in zip(block.lines.tolist(), block.values[:, at].tolist(), strict=True):
        cells = cells_of(lines[line - first_line], head.separator)
        key = tuple(cells[place].strip() for place in places)
        if not reading.edges or reading.edges[-1][1] != key:
            reading.edges.append((value * time.scale + time.offset, key))


def _marks(reading: Reading, samples: Samples) -> list[Mark]:
    """Return the stretches of equal ``segment`` and ``label``, where the file has those columns."""
    if not reading.edges or len(samples) < 2:
        return []
    names = [name for name in MARKS if name in reading.head.names]
    time_s = samples["time_s"]
    last_s = float(time_s[-1]) + float(np.median(np.diff(time_s)))
    marks: list[Mark] = []
    for (start_s, key), (end_s, _) in itertools.pairwise([*reading.edges, (last_s, ())]):
        found = dict(zip(names, key, strict=True))
        if found["label"]:
            marks.append(Mark(found["label"], start_s, end_s, len(marks), found.get("kind", "")))
    return marks


def _check_whole(reading: Reading, samples: Samples) -> None:
    if reading.missing:
        rows = " and ".join(f"{count} of {target}" for target, count in reading.missing.items())
        beyond = f", {reading.beyond} of them beyond their range" if reading.beyond else ""
        reading.notes.append(f"left out: rows without a number, {rows}{beyond}")
    if not len(samples):
        raise _no_rows(reading.path)


def _dialect(encoding: str, head: Head) -> str:
    """Return in words how the file is written."""
    words = {";": "semicolons", "\t": "tabs", ",": "commas", "|": "bars", " ": "blanks"}[head.separator]
    code = {"utf-8-sig": "UTF-8", "utf-8": "UTF-8", "cp1252": "Latin-1"}.get(encoding, "UTF-16")
    above = f", {len(head.above)} lines above the names" if head.above else ""
    comma = ", decimal commas" if head.decimal_comma else ""
    return f"{code}, {words}{comma}{above}{', a line of units' if head.units else ''}"


def _understood(reading: Reading, samples: Samples) -> dict[str, Any]:
    """What was understood of the file: its rows, dialect, and where each column comes from."""
    columns = {}
    for source in reading.wanted:
        values = samples[source.target]
        columns[source.target] = {
            "from": source.column, "scale": source.scale, "offset": source.offset,
            "lowest": float(values.min()), "highest": float(values.max()),
        }  # fmt: skip
    return {"rows": reading.rows, "rate_hz": reading.rate_hz, "columns": columns, "notes": reading.notes}

"""Readings and reference instruments from files: TOML for both, CSV for readings."""

from __future__ import annotations

import csv
import io
from pathlib import Path

from pydantic import BaseModel

from strokebench.calibrate.instrument import Instrument
from strokebench.calibrate.quantities import Quantity
from strokebench.calibrate.solve import Reading
from strokebench.calibrate.units import factor, reading
from strokebench.errors import DataError
from strokebench.parts.limits import STRICT
from strokebench.parts.toml import parse, read_text, validate

COLUMNS = "channel,reference,unit,counts,u_counts,scans"


class Row(BaseModel):
    """A reading in a file; ``unit`` may be any of the channel's (mA, kohm)."""

    model_config = STRICT

    channel: str
    reference: float
    unit: str = ""
    counts: float
    u_counts: float = 0.0
    scans: int = 1


class Bundle(BaseModel):
    """A calibration file: who, against what, and readings if they are already taken."""

    model_config = STRICT

    person: str = ""
    instrument: list[Instrument] = []
    reading: list[Row] = []


def load(path: str, known: dict[str, Quantity]) -> tuple[Bundle, list[Reading]]:
    """Return a file's content; :class:`ProfileError` or :class:`DataError` names line and column."""
    text = read_text(Path(path))
    if path.lower().endswith(".csv"):
        bundle = Bundle(reading=_csv(text, path))
    else:
        bundle = validate(Bundle, parse(text, path), text, path)
    return bundle, [_reading(row, known, path) for row in bundle.reading]


def _csv(text: str, path: str) -> list[Row]:
    rows = []
    reader = csv.DictReader(io.StringIO(text))
    if missing := {"channel", "reference", "counts"} - set(reader.fieldnames or ()):
        raise DataError(f"{path} has no column {sorted(missing)[0]!r}.", f"Its first line: {COLUMNS}")
    for line in reader:
        try:
            rows.append(
                Row(
                    channel=line["channel"].strip(),
                    reference=reading(line["reference"], ""),
                    unit=(line.get("unit") or "").strip(),
                    counts=float(line["counts"]),
                    u_counts=float(line.get("u_counts") or 0),
                    scans=int(line.get("scans") or 1),
                )
            )
        except (ValueError, TypeError, AttributeError, DataError) as error:
            raise DataError(
                f"{path}, line {reader.line_num}: not a reading ({error}).", f"Columns: {COLUMNS}"
            ) from None
    return rows


def _reading(row: Row, known: dict[str, Quantity], path: str) -> Reading:
    if row.channel not in known:
        raise DataError(f"{path}: there is no channel {row.channel!r}.", f"Channels: {', '.join(known)}.")
    by = factor(row.unit, known[row.channel].unit)
    return Reading(row.channel, row.reference * by, row.counts, row.u_counts, row.scans)

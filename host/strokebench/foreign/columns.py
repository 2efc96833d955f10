"""Which column of a foreign file becomes which of ours: ``time="Time [s]",current_a="CH1*100-0.5"``."""

from __future__ import annotations

import re
from typing import NamedTuple

from strokebench.data.samples import COLUMNS
from strokebench.errors import DataError
from strokebench.foreign.units import plain, unit, unit_behind

MEASURED = ("current_a", "sensor_a_v", "sensor_b_v")
"""One of these and the time are needed; what else is not there stays unknown."""
TELLS_DRIVE = ("supply_v", "output_a_v")
"""These tell a drive that is not given: what the bridge gave over what it had is the same."""
_ENTRY = re.compile(r'\s*([\w]+)\s*=\s*("([^"]*)"|[^,"]+)\s*(?:,|$)')
_NUMBER = r"(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?"
_SCALED = re.compile(rf"^(.*?)\s*(?:([*/])\s*([+-]?{_NUMBER}))?\s*([+-]\s*{_NUMBER})?$")


class Source(NamedTuple):
    """Our ``target`` is ``column`` of the file times ``scale`` plus ``offset``."""

    target: str
    column: str
    scale: float = 1.0
    offset: float = 0.0


def parse_map(text: str) -> dict[str, str]:
    """Return the wanted expression by target column; ``time`` is short for ``time_s``."""
    found: dict[str, str] = {}
    position = 0
    while position < len(text):
        match = _ENTRY.match(text, position)
        if match is None:
            raise DataError(
                f"The mapping is not readable at {text[position:]!r}.",
                'Write it as time="Time [s]",current_a="CH1*100".',
            )
        target = "time_s" if match.group(1) == "time" else match.group(1)
        if target not in COLUMNS:
            raise DataError(
                f"The mapping names {target!r}, which is no column.", f"Columns: {', '.join(COLUMNS)}."
            )
        found[target] = plain(match.group(3) if match.group(3) is not None else match.group(2))
        position = match.end()
    return found


ROW = "row"
"""In a mapping: the number of the row, from 0, where no column has that name: a time that is not written."""


def sources(wanted: dict[str, str], header: list[str], units: list[str], name: str) -> list[Source]:
    """Return where each of our columns comes from; :class:`DataError` naming what is missing.

    A column that is mapped without a scale is taken in the unit that stands with it.
    """
    found = [
        _source(target, wanted.get(target, target), header, units, name, target in wanted)
        for target in COLUMNS
    ]
    present = [source for source in found if source is not None]
    known = {source.target for source in present}
    if "time_s" not in known:
        raise DataError(
            f"{name} has no column time_s.", f"It has: {', '.join(header)}. Name it: --map 'time=\"NAME*1\"'."
        )
    if known.isdisjoint(MEASURED):
        raise DataError(
            f"{name} has no column {', nor '.join(MEASURED)}.",
            f"It has: {', '.join(header)}. Name one: --map 'current_a=\"NAME*1\"'.",
        )
    return present


def _source(
    target: str, expression: str, header: list[str], units: list[str], name: str, mapped: bool
) -> Source | None:
    if expression in header:
        return Source(target, expression, _unit_scale(target, header.index(expression), header, units))
    match = _SCALED.match(expression)
    column = match.group(1) if match else ""
    if match is None or (column not in header and column != ROW):
        if not mapped:
            return None
        raise DataError(
            f"{name} has no column {column or expression!r}, which the mapping names.",
            f"It has: {', '.join(header)}.",
        )
    factor = float(match.group(3) or 1)
    if match.group(2) == "/" and factor == 0:
        raise DataError(f"The mapping of {target} divides by zero.", "Write the scale as NAME*FACTOR.")
    scale = 1 / factor if match.group(2) == "/" else factor
    return Source(target, column, scale, float((match.group(4) or "0").replace(" ", "")))


def _unit_scale(target: str, place: int, header: list[str], units: list[str]) -> float:
    """What a number must be multiplied by to be in our unit: by the unit below or behind the name."""
    known = unit(units[place]) if place < len(units) else None
    if known is None and header[place] != target:
        known = unit_behind(header[place])
    kind = {"time_s": "time", "current_a": "current", "drive": "share"}.get(target, "volts")
    return known.scale if known is not None and known.of == kind else 1.0

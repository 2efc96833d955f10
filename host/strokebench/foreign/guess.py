"""What the columns of a foreign file probably are, by name, unit and numbers; and whether that is certain."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from strokebench.data.samples import COLUMNS
from strokebench.foreign.checks import FASTEST_HZ, SLOWEST_HZ
from strokebench.foreign.columns import MEASURED, ROW
from strokebench.foreign.head import CLOCK, NUMBER, Head
from strokebench.foreign.units import Unit, clamp_factor, unit, unit_behind

TIMES = re.compile(r"\b(time|zeit|temps|tiempo|tempo|tid|tijd|czas|t|x|x-axis|elapsed|timestamp)\b", re.I)
CURRENTS = re.compile(r"\b(current|strom|courant|corriente|corrente|amps?|i|ia|imot\w*|clamp)\b", re.I)
VOLTS = {
    "supply_v": re.compile(r"supply|batt|u[_ ]?bat|v[_ ]?bat|kl\.?\s*30|versorgung|alim", re.I),
    "output_a_v": re.compile(r"motor|output|ausgang|load|across|terminal|coil|u[_ ]?mot", re.I),
    "sensor_a_v": re.compile(r"sensor|posi|pot\b|poti|track|tps|signal|feedback", re.I),
}
SECOND = re.compile(r"(?:\b|_|\s)(?:b|2)\b|2$", re.I)
INTERVAL = re.compile(
    r"(sampl\w*\s*(interval|period|time|dt)|^interval$|^dt$|Δt|delta\s*t|x\s*incr\w*)", re.I
)


class Column(NamedTuple):
    """A column of the file: ``unit`` None where nothing tells it; ``amps_per_volt`` where its head does."""

    name: str
    unit: Unit | None
    amps_per_volt: float | None
    numbers: list[float]
    clock: bool


@dataclass(frozen=True)
class Guess:
    """``mapping`` from our columns to expressions; ``sure`` when it needs no confirmation; ``why`` it does;
    ``unused``: columns that are nothing we know."""

    mapping: dict[str, str]
    sure: bool
    why: str
    unused: list[str]

    @property
    def as_option(self) -> str:
        """The mapping as an option of the command line, ready to paste."""
        parts = (
            f'{"time" if ours == "time_s" else ours}="{theirs}"' for ours, theirs in self.mapping.items()
        )
        return f"--map '{','.join(parts)}'"


def guess(head: Head) -> Guess:
    """Return what the columns of a file may be."""
    columns = [_column(head, place) for place in range(len(head.names))]
    columns = [column for column in columns if column.name and (column.numbers or column.clock)]
    mapping: dict[str, str] = {}
    doubts = [_time(head, columns, mapping)]
    left = [column for column in columns if _base(mapping.get("time_s", "")) != column.name]
    doubts.append(_current(left, mapping))
    for column in left:
        _volts(column, mapping)
    if not doubts[1] and set(mapping).isdisjoint(MEASURED):
        doubts.append("no column says that it is a current")
        volts = [
            column
            for column in left
            if column.name not in COLUMNS and (column.unit is None or column.unit.of == "volts")
        ]
        if volts:
            mapping["current_a"] = f"{volts[0].name}*100"
    used = {_base(expression) for expression in mapping.values()}
    why = " and ".join(doubt for doubt in doubts if doubt)
    return Guess(mapping, not why, why, [column.name for column in columns if column.name not in used])


def _base(expression: str) -> str:
    """The column of an expression."""
    return re.sub(r"[*/][\d.eE+-]+$", "", expression)


def _column(head: Head, place: int) -> Column:
    name = head.names[place]
    cells = [row[place] for row in head.first if place < len(row) and row[place]]
    numbers = [float(cell.replace(",", ".")) for cell in cells if NUMBER.match(cell)]
    below = head.units[place] if place < len(head.units) else ""
    above = [row[place] for row in head.above if place < len(row)]
    factors = [factor for text in (name, below, *above) if (factor := clamp_factor(text)) is not None]
    known = unit(below) or unit_behind(name)
    if known is None and len(head.names) > 1:
        known = next((found for text in above if (found := unit(text)) is not None), None)
    clock = bool(cells) and not numbers and all(map(CLOCK.match, cells))
    return Column(name, known, factors[0] if factors else None, numbers, clock)


def _time(head: Head, columns: list[Column], mapping: dict[str, str]) -> str:
    """Put the time into the mapping; return what is doubtful about it."""
    rising = [column for column in columns if column.clock or _rises(column)]
    sure = [
        column for column in rising if column.clock or (column.unit is not None and column.unit.of == "time")
    ]
    named = [column for column in rising if TIMES.search(column.name.replace("_", " "))]
    for column in (*sure, *named):
        if column.clock or column in sure:
            mapping["time_s"] = column.name + _scale(column.unit)
            return ""
        scales = [scale for scale in (1.0, 1e-3, 1e-6) if _rate_fits(column, scale)]
        if scales:
            mapping["time_s"] = column.name if scales[0] == 1.0 else f"{column.name}*{scales[0]:g}"
            return "" if scales == [1.0] else f"the unit of {column.name!r} is not written"
    interval_s = _interval_s(head)
    if interval_s is not None:
        mapping["time_s"] = f"{ROW}*{interval_s:g}"
        return ""
    if rising:
        mapping["time_s"] = rising[0].name
        return f"{rising[0].name!r} may be the time, or not"
    return "no column rises as a time does"


def _rises(column: Column) -> bool:
    steps = np.diff(column.numbers)
    return len(steps) > 0 and bool(np.all(steps >= 0)) and bool(np.any(steps > 0))


def _rate_fits(column: Column, scale: float) -> bool:
    step = float(np.median(np.diff(column.numbers))) * scale
    return step > 0 and SLOWEST_HZ * 0.999 <= 1 / step <= FASTEST_HZ * 1.001


def _scale(known: Unit | None) -> str:
    return "" if known is None or known.scale == 1.0 else f"*{known.scale:g}"


def _interval_s(head: Head) -> float | None:
    """Time from row to row, where a line above the names tells it."""
    for cells in head.above:
        if cells and INTERVAL.search(cells[0].rstrip(": ")):
            numbers = [cell for cell in cells[1:] if NUMBER.match(cell)]
            units = [found for cell in cells for found in (unit(cell), unit_behind(cell)) if found]
            if numbers:
                scale = units[0].scale if units and units[0].of == "time" else 1.0
                return float(numbers[0].replace(",", ".")) * scale
    return None


def _current(columns: list[Column], mapping: dict[str, str]) -> str:
    """Put the current into the mapping; return what is doubtful about it, nothing when there is none."""
    clamps = [
        column for column in columns
        if column.amps_per_volt is not None and (column.unit is None or column.unit.of == "volts")
    ]  # fmt: skip
    amps = [column for column in columns if column.unit is not None and column.unit.of == "current"]
    named = [
        column for column in columns
        if column.unit is None and column not in clamps and CURRENTS.search(column.name.replace("_", " "))
    ]  # fmt: skip
    found = [*amps, *clamps] or named
    if not found:
        return ""
    first = found[0]
    if first.amps_per_volt is not None and first in clamps:
        volts = first.unit.scale if first.unit is not None else 1.0
        mapping["current_a"] = f"{first.name}*{first.amps_per_volt * volts:g}"
    else:
        mapping["current_a"] = first.name + _scale(first.unit)
    if len(found) > 1:
        names = " or ".join(repr(column.name) for column in found)
        return f"{names} may be the part's current"
    return f"the unit of {first.name!r} is not written" if found is named else ""


def _volts(column: Column, mapping: dict[str, str]) -> None:
    """Put a column of volts whose name says what it is into the mapping."""
    if (column.unit is not None and column.unit.of != "volts") or column.name in mapping.values():
        return
    name = column.name.replace("_", " ")
    second = SECOND.search(re.sub(r"[\[(].*$", "", name).strip())
    for target, words in VOLTS.items():
        if words.search(name):
            if target == "sensor_a_v" and second:
                target = "sensor_b_v"
            if (
                target == "output_a_v"
                and target in mapping
                and SECOND.search(re.sub(r"[\[(].*$", "", name).strip())
            ):
                target = "output_b_v"
            mapping.setdefault(target, column.name + _scale(column.unit))
            return

"""The good parts' readings of a part number, from all benches of a lake, on the scale of each finding."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from strokebench.data.findings import Finding
from strokebench.errors import DataError
from strokebench.lake.ask import rows
from strokebench.lake.place import Place, plain_name
from strokebench.lake.rows import digest
from strokebench.verdict.learning.readings import learnable, readings_of
from strokebench.verdict.learning.scale import Scale
from strokebench.verdict.learning.surroundings import Surroundings

if TYPE_CHECKING:
    from strokebench.parts.profile import Profile

Floats = NDArray[np.float64]
QUERY = """SELECT f.run, f.bench, f.specimen, f.day, f.simulated, r.procedure, r.shop, r.supply_v, r.part_c,
    f.key, f.value, f.u, f.unit
    FROM {findings} AS f
    JOIN (SELECT DISTINCT run, procedure, shop, supply_v, part_c, outcome FROM {runs} WHERE part = ?) AS r
        USING (run)
    WHERE f.part = ? AND f.value IS NOT NULL AND f.u IS NOT NULL AND r.outcome = 'done'
        AND f.specimen IN (SELECT specimen FROM {good} WHERE part = ?)
    ORDER BY f.bench, f.specimen, f.run"""


@dataclass(frozen=True)
class Column:
    """One finding's readings: ``value`` and ``u`` on its ``scale``, ``day`` as a number, shapes (n,).

    ``bench`` and ``specimen`` hold places in ``benches`` and ``specimens``. A part that two benches measured
    counts as two: its bench and its own spread could not be told apart otherwise within one bench.
    """

    key: str
    unit: str
    scale: Scale
    benches: list[str]
    bench: NDArray[np.int64]
    specimen: NDArray[np.int64]
    day: Floats
    value: Floats
    u: Floats


@dataclass
class Good:
    """The readings by finding; ``shops`` that they are from, ``simulated`` parts or real ones.

    ``left``: in words, what was left out.
    """

    columns: dict[str, Column] = field(default_factory=dict)
    shops: list[str] = field(default_factory=list)
    simulated: bool = False
    runs: int = 0
    left: list[str] = field(default_factory=list)


def good_readings(place: Place, part: str, base: Profile, without: frozenset[str] = frozenset()) -> Good:
    """Return the readings of the parts that were declared good, referred to 12.6 V and 20 C.

    ``part``: its name in the lake. ``without``: benches to leave out. Runs of another procedure than
    ``base``'s are left out, and simulated ones where there are real ones. DataError when nothing is left.
    """
    if not place.files("good", part=plain_name(part)):
        raise DataError(
            f"Nobody has declared a part {part} of the lake good.", "Put them with --good, or see --called."
        )
    found = Good()
    runs = _runs(rows(place, QUERY, [part] * 3))
    chosen = _chosen(runs, base, without, found)
    scales = learnable(base)
    collected: dict[str, list[tuple[str, str, float, float, float]]] = {key: [] for key in scales}
    for run in chosen:
        readings = readings_of(run["findings"], run["at"], base, scales)
        for key, (value, u) in readings.items():
            collected[key].append((run["bench"], run["specimen"], run["day"], value, u))
    units = {each.key: each.unit for run in chosen for each in run["findings"]}
    found.columns = {
        key: column(key, units[key], scales[key], readings) for key, readings in collected.items() if readings
    }
    found.shops, found.runs = sorted({run["shop"] for run in chosen}), len(chosen)
    return found


def _runs(table: list[tuple[Any, ...]]) -> list[dict[str, Any]]:
    """Return the runs of a table whose rows are findings, in order of benches and parts."""
    runs: dict[str, dict[str, Any]] = {}
    for run, bench, specimen, day, simulated, procedure, shop, supply_v, part_c, key, value, u, unit in table:
        if run not in runs:
            at = Surroundings(_number(supply_v), _number(part_c))
            runs[run] = {
                "bench": bench, "specimen": specimen, "day": day_number(day), "simulated": simulated,
                "procedure": procedure, "shop": shop, "at": at, "findings": [],
            }  # fmt: skip
        runs[run]["findings"].append(Finding(key, key, value, u, unit))
    return list(runs.values())


def _chosen(
    runs: list[dict[str, Any]], base: Profile, without: frozenset[str], found: Good
) -> list[dict[str, Any]]:
    """Return the runs that compare; what is left out is noted in ``found``."""
    real = any(not run["simulated"] for run in runs)
    procedure = digest(base.model_dump(mode="json", exclude_none=True)["procedure"])
    tests = (
        ("of simulated parts", lambda run: real and run["simulated"]),
        ("of another procedure", lambda run: run["procedure"] != procedure),
        ("of benches left out", lambda run: run["bench"] in without),
    )
    for why, away in tests:
        count = sum(map(away, runs))
        runs = [run for run in runs if not away(run)]
        if count:
            found.left.append(f"{count} runs {why}")
    if not runs:
        raise DataError(
            f"No run of a good part compares: {', '.join(found.left) or 'there is none'}.",
            "Name the profile that the runs were made with.",
        )
    found.simulated = not real
    return runs


def column(key: str, unit: str, scale: Scale, readings: list[tuple[str, str, float, float, float]]) -> Column:
    """Return the column of readings: bench, specimen, day, value and u on the scale."""
    names: dict[str, int] = {}
    parts: dict[tuple[str, str], int] = {}
    bench = [names.setdefault(each[0], len(names)) for each in readings]
    specimen = [parts.setdefault(each[:2], len(parts)) for each in readings]
    numbers = np.array([each[2:] for each in readings], dtype=float)
    return Column(
        key, unit, scale, list(names), np.array(bench), np.array(specimen),
        numbers[:, 0], numbers[:, 1], numbers[:, 2],
    )  # fmt: skip


def day_number(day: str) -> float:
    """Return a day such as 2026-05-31 as a number of days, NaN for what is none."""
    try:
        return float(date.fromisoformat(day).toordinal())
    except ValueError:
        return math.nan


def _number(value: float | None) -> float:
    return math.nan if value is None else value


def units_of(columns: Mapping[str, Column]) -> dict[str, tuple[str, str]]:
    """Return finding -> its name for people and its unit."""
    return {key: (key.replace("_", " "), each.unit) for key, each in columns.items()}

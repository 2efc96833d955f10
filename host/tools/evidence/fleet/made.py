"""A fleet's findings, drawn and not simulated: thousands of runs on hundreds of benches in seconds.

One run of the part is simulated; its findings are the middle. Around it parts spread as ``spreads.json`` has
it (fitted to simulated good parts), benches by errors of the gain of their current and voltage channels,
repeats by a third of a reading's own uncertainty. All of it is normal on the finding's scale. So a fleet
shows that the statistics do what they claim, and nothing about real parts or benches.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray
from strokebench.lake.place import Place, needed
from strokebench.lake.readings import Column
from strokebench.lake.rows import RUN_TEXTS, digest, findings_schema
from strokebench.verdict.learning.readings import learnable, readings_of
from strokebench.verdict.learning.surroundings import Surroundings

if TYPE_CHECKING:
    from strokebench.data.findings import Finding
    from strokebench.parts.profile import Profile
    from strokebench.verdict.learning.scale import Scale

GAIN_A, GAIN_V = 0.006, 0.003
"""Relative standard deviation of the benches' gains."""
BY_GAIN = {"A": (1.0, 0.0), "V": (0.0, 1.0), "ohm": (-1.0, 1.0), "mH": (-1.0, 1.0)}
"""Unit of a finding -> powers of the gains of current and voltage that it goes with."""
REPEAT = 1 / 3
"""Spread of repeats over a reading's own standard uncertainty."""
AT = Surroundings(12.6, 20.0)
DAYS = 360
Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Kind:
    """One finding as it is drawn, on its scale: middle, spread from part to part, u, powers of the gains."""

    scale: Scale
    unit: str
    middle: float
    part: float
    u: float
    powers: tuple[float, float]

    @property
    def bench(self) -> float:
        """Standard deviation from bench to bench."""
        return float(np.hypot(self.powers[0] * GAIN_A, self.powers[1] * GAIN_V))


def kinds_of(base: Profile, findings: list[Finding]) -> dict[str, Kind]:
    """Return what is drawn of a part, from the findings of one run."""
    scales = learnable(base)
    units = {each.key: each.unit for each in findings}
    return {
        key: Kind(
            scales[key], units[key], value, scales[key].spread, u,
            BY_GAIN.get(units[key], (0.0, 0.0)) if scales[key].kind == "log" else (0.0, 0.0),
        )
        for key, (value, u) in readings_of(findings, AT, base, scales).items()
    }  # fmt: skip


@dataclass(frozen=True)
class Fleet:
    """Who measures what: ``parts`` of each bench, each measured ``repeats`` times over a year.

    ``drifts``: bench -> by how much its current's gain has changed at the year's end, relative. ``apart``:
    bench -> by how much it is off all the year. ``shops``: workshops that the benches are spread over.
    """

    benches: int = 200
    parts: int = 50
    repeats: int = 2
    seed: int = 1
    shops: int = 10
    drifts: Mapping[int, float] = field(default_factory=dict)
    apart: Mapping[int, float] = field(default_factory=dict)


def drawn(kinds: Mapping[str, Kind], fleet: Fleet) -> dict[str, Any]:
    """Return bench, part and day of each run, shape (runs,), and readings by finding on its scale."""
    chance = np.random.default_rng(fleet.seed)
    specimens = fleet.benches * fleet.parts
    specimen = np.repeat(np.arange(specimens), fleet.repeats)
    bench = specimen // fleet.parts
    share = np.repeat(chance.uniform(0, 1, specimens), fleet.repeats)
    gain_a, gain_v = (
        chance.normal(0, GAIN_A, fleet.benches)[bench],
        chance.normal(0, GAIN_V, fleet.benches)[bench],
    )
    for number, by in fleet.drifts.items():
        gain_a = gain_a + (bench == number) * by * share
    for number, by in fleet.apart.items():
        gain_a = gain_a + (bench == number) * by
    readings = {
        key: kind.middle + kind.powers[0] * gain_a + kind.powers[1] * gain_v
        + kind.part * chance.normal(size=specimens)[specimen]
        + REPEAT * kind.u * chance.normal(size=len(bench))
        for key, kind in kinds.items()
    }  # fmt: skip
    return {"bench": bench, "specimen": specimen, "day": share * DAYS, "readings": readings}


def columns_of(kinds: Mapping[str, Kind], fleet: Fleet, shop: int | None = None) -> dict[str, Column]:
    """Return a fleet's readings as they come out of a lake, without going through one."""
    found = drawn(kinds, fleet)
    here = np.arange(len(found["bench"]))
    if shop is not None:
        here = here[found["bench"] % fleet.shops == shop]
    benches, bench = np.unique(found["bench"][here], return_inverse=True)
    _, specimen = np.unique(found["specimen"][here], return_inverse=True)
    names = [f"bench{number}" for number in benches]
    return {
        key: Column(
            key, kind.unit, kind.scale, names, bench, specimen, found["day"][here],
            found["readings"][key][here], np.full(len(here), kind.u),
        )
        for key, kind in kinds.items()
    }  # fmt: skip


def put_fleet(
    place: Place, base: Profile, kinds: Mapping[str, Kind], fleet: Fleet, shop: int | None = None
) -> int:
    """Write a fleet's runs and findings into a lake as ``lake put`` would; return the number of runs.

    ``shop``: the benches of that workshop only. All parts are declared good.
    """
    arrow, found = needed("pyarrow"), drawn(kinds, fleet)
    here = np.arange(len(found["bench"]))
    if shop is not None:
        here = here[found["bench"] % fleet.shops == shop]
    texts = _texts(found, fleet, here)
    month = "2026-01"
    name = f"shop{'' if shop is None else shop}-{fleet.seed}"
    count = len(here)
    runs = {
        **{name: [""] * count for name in RUN_TEXTS}, **texts, "kind": [base.kind] * count,
        "outcome": ["done"] * count, "revision": [1] * count, "samples": [0] * count,
        "simulated": [True] * count, "supply_v": [AT.supply_v] * count, "part_c": [AT.part_c] * count,
        "procedure": [digest(base.model_dump(mode="json", exclude_none=True)["procedure"])] * count,
    }  # fmt: skip
    place.write(arrow.table(runs), place.path("runs", base.name, month, name))
    pieces = [_findings(arrow, key, kind, found["readings"][key][here], texts) for key, kind in kinds.items()]
    place.write(arrow.concat_tables(pieces), place.path("findings", base.name, month, name))
    good = arrow.table({"specimen": sorted(set(texts["specimen"]))})
    place.write(good, place.path("good", base.name, month, name))
    return count


def _texts(found: dict[str, Any], fleet: Fleet, here: NDArray[np.int64]) -> dict[str, list[str]]:
    first = date(2026, 1, 1)
    return {
        "run": [f"run{fleet.seed}-{number}" for number in here],
        "shop": [f"shop{number % fleet.shops}" for number in found["bench"][here]],
        "bench": [f"bench{number}" for number in found["bench"][here]],
        "specimen": [f"part{fleet.seed}-{number}" for number in found["specimen"][here]],
        "day": [(first + timedelta(days=float(day))).isoformat() for day in found["day"][here]],
    }


def _findings(arrow: Any, key: str, kind: Kind, readings: Floats, texts: dict[str, list[str]]) -> Any:
    count = len(readings)
    values = [kind.scale.back(reading) for reading in readings]
    slopes = {"log": values, "plain": [1.0] * count, "zero": [max(v, 0) + kind.scale.unit for v in values]}
    columns = {
        **texts, "revision": [1] * count, "simulated": [True] * count, "key": [key] * count, "value": values,
        "u": [kind.u * slope for slope in slopes[kind.scale.kind]], "unit": [kind.unit] * count,
        "lower": [None] * count, "upper": [None] * count, "verdict": ["pass"] * count, "fault": [""] * count,
    }  # fmt: skip
    schema = findings_schema()
    return arrow.table({name: columns[name] for name in schema.names}, schema=schema)

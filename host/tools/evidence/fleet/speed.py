"""How long exact quantiles of millions of findings take: a lake of that size, asked and checked."""

from __future__ import annotations

import os
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from strokebench.lake.ask import QUANTILES, Asked, quantiles
from strokebench.lake.place import Place, needed, open_place
from strokebench.lake.rows import RUN_TEXTS, findings_schema

PARTS, MONTHS, KEYS = 10, 12, 20
GOAL_S = 5.0


@dataclass(frozen=True)
class Speed:
    """Findings, size of their files in bytes, seconds until the answer (median of five), groups, cores."""

    findings: int
    size: int
    seconds: float
    groups: int
    cores: int
    worst: float
    """Largest relative difference of a quantile from NumPy's."""


def filled(folder: Path, findings: int) -> Place:
    """Return a lake with so many findings, in files as ``lake put`` writes them."""
    place = open_place(str(folder), there=False)
    if place.files("findings"):
        return place
    chance = np.random.default_rng(1)
    runs = findings // (PARTS * MONTHS * KEYS)
    for part in range(PARTS):
        for month in range(1, MONTHS + 1):
            _write(place, chance, f"part-{part}", f"2026-{month:02}", runs)
    return place


def _write(place: Place, chance: np.random.Generator, part: str, month: str, runs: int) -> None:
    pa = needed("pyarrow")
    count = runs * KEYS
    run = np.array([f"{part}{month}{number:025}" for number in range(runs)])
    benches = np.array([f"bench{number:011}" for number in range(200)])[chance.integers(0, 200, runs)]
    values = chance.lognormal(0, 0.1, (runs, KEYS)) * np.arange(1, KEYS + 1)
    texts = {
        "run": run, "shop": benches, "bench": benches, "specimen": run,
        "day": np.full(runs, f"{month}-15"),
    }  # fmt: skip
    columns = {name: pa.array(np.repeat(each, KEYS)) for name, each in texts.items()}
    columns |= {
        "revision": pa.array(np.ones(count, dtype=np.int32)),
        "simulated": pa.array(np.ones(count, dtype=bool)),
        "value": pa.array(values.ravel()), "u": pa.array(0.01 * values.ravel()),
        "lower": pa.nulls(count, pa.float64()), "upper": pa.nulls(count, pa.float64()),
        "key": pa.array(np.tile([f"key_{number:02}" for number in range(KEYS)], runs)),
        "unit": pa.array(np.full(count, "A")), "verdict": pa.array(np.full(count, "pass")),
        "fault": pa.array(np.full(count, "")),
    }  # fmt: skip
    schema = findings_schema()
    table = pa.table({name: columns[name] for name in schema.names}, schema=schema)
    place.write(table, place.path("findings", part, month, "shop-one"))
    about = {name: [""] * runs for name in RUN_TEXTS} | {"run": run.tolist(), "revision": [1] * runs}
    place.write(pa.table(about), place.path("runs", part, month, "shop-one"))


def measured(place: Place) -> Speed:
    """Ask for all quantiles by part and finding five times, and check one group against NumPy."""
    times = []
    for _ in range(5):
        began = time.perf_counter()
        found = quantiles(place, Asked())
        times.append(time.perf_counter() - began)
    paths = place.files("findings")
    first = found[0]
    values = [
        table["value"].to_numpy()[table["key"].to_numpy() == first.key]
        for table in (place.read(path, ["key", "value"]) for path in paths if f"part={first.part}/" in path)
    ]
    truth = np.quantile(np.concatenate(values), QUANTILES)
    worst = float(np.max(np.abs(np.array(first.quantiles) / truth - 1)))
    size = sum(int(place.system.size(path)) for path in paths)
    count = sum(each.count for each in found)
    return Speed(count, size, float(np.median(times)), len(found), os.cpu_count() or 1, worst)

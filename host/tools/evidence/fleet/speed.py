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

PARTS, MONTHS, KEYS, BENCHES = 10, 12, 20, 200
GOAL_S = 5.0


@dataclass(frozen=True)
class Speed:
    """Findings, size of their files in bytes, seconds until the answer (median of three), groups, cores.

    ``busy_s``: processor time of all cores together, which does not depend on what else the computer does.
    """

    findings: int
    size: int
    seconds: float
    busy_s: float
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
    arrow = needed("pyarrow")
    count = runs * KEYS
    run = np.repeat(np.arange(runs, dtype=np.int32), KEYS)
    bench = np.repeat(chance.integers(0, BENCHES, runs, dtype=np.int32), KEYS)
    values = (chance.lognormal(0, 0.1, (runs, KEYS)) * np.arange(1, KEYS + 1)).ravel()
    names = [f"{part}{month}{number:020}" for number in range(runs)]
    benches = [f"bench{number:011}" for number in range(BENCHES)]
    key, same = np.tile(np.arange(KEYS, dtype=np.int32), runs), np.zeros(count, dtype=np.int32)
    texts = {
        "run": (run, names), "specimen": (run, names), "bench": (bench, benches), "shop": (bench, benches),
        "day": (same, [f"{month}-15"]), "key": (key, [f"key_{number:02}" for number in range(KEYS)]),
        "unit": (same, ["A"]), "verdict": (same, ["pass"]), "fault": (same, [""]),
    }  # fmt: skip
    columns = {name: arrow.DictionaryArray.from_arrays(*pair) for name, pair in texts.items()}
    columns |= {
        "revision": arrow.array(np.ones(count, dtype=np.int32)),
        "simulated": arrow.array(np.ones(count, dtype=bool)),
        "value": arrow.array(values), "u": arrow.array(0.01 * values),
        "lower": arrow.nulls(count, arrow.float64()), "upper": arrow.nulls(count, arrow.float64()),
    }  # fmt: skip
    place.write(
        arrow.table({name: columns[name] for name in findings_schema().names}),
        place.path("findings", part, month, "shop-one"),
    )
    about = {name: [""] * runs for name in RUN_TEXTS} | {"run": names, "revision": [1] * runs}
    place.write(arrow.table(about), place.path("runs", part, month, "shop-one"))


def measured(place: Place) -> Speed:
    """Ask for all quantiles by part and finding three times, and check one group against NumPy."""
    times, busy = [], []
    for _ in range(3):
        began, worked = time.perf_counter(), time.process_time()
        found = quantiles(place, Asked())
        times.append(time.perf_counter() - began)
        busy.append(time.process_time() - worked)
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
    return Speed(
        count, size, float(np.median(times)), float(np.median(busy)), len(found), os.cpu_count() or 1, worst
    )

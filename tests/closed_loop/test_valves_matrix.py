"""Valves, solenoids, motor without a sensor in closed loop: good ones pass, defects are named and placed.

Firmware, link, simulated bench, diagnosis and verdict as in ``strokebench run PART --sim``, on all cores.
Seeds are of the tuning range (below 10000); conditions drawn with them (11.8 to 14.5 V, 0 to 45 C, leads).
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from typing import Any

import pytest
from strokebench.sim.faults import FaultKind, available
from strokebench.sim.trials import Trial, conditions, examine

PARTS = ("egr-motor", "egr-solenoid", "solenoid", "idle-actuator")
GOOD_SEEDS = range(1, 6)
GRADES = ("moderate", "severe")
SEED = {"moderate": 201, "severe": 202}
CASES = [(part, kind, grade) for part in PARTS for kind in available(part) for grade in GRADES]
PLACED = [(part, grade) for part in ("egr-motor", "idle-actuator") for grade in GRADES]
Records = dict[tuple[str, str, str, int], dict[str, Any]]



def faulty(part: str, kind: FaultKind, grade: str) -> Trial:
    """One defect at one of its two sizes, at its default place or track; where both are one, twice."""
    where = f"@{kind.place}" if kind.place_means else ""
    size = kind.severe if grade == "severe" else kind.moderate
    spec = conditions(part, SEED[grade], (f"{kind.name}:{grade}{where}",))
    return Trial(kind.name, grade, spec, size, kind.place)


def trials() -> Iterator[Trial]:
    for part in PARTS:
        for seed in GOOD_SEEDS:
            yield Trial("good", "good", conditions(part, seed, ()))
    yield from (faulty(part, kind, grade) for part, kind, grade in CASES)


@pytest.fixture(scope="module")
def records() -> Records:
    planned = list(trials())
    with ProcessPoolExecutor(os.cpu_count()) as pool:
        done = list(pool.map(examine, planned))
    return {
        (trial.spec.part, trial.name, trial.grade, trial.spec.seed): record
        for trial, record in zip(planned, done, strict=True)
    }


@pytest.mark.parametrize("seed", GOOD_SEEDS)
@pytest.mark.parametrize("part", PARTS)
def test_good_part_passes(records: Records, part: str, seed: int) -> None:
    record = records[part, "good", "good", seed]
    assert record["verdict"] == "pass", (record["named"], record["failing"], record["unsure"])


@pytest.mark.parametrize(
    ("part", "kind", "grade"), CASES, ids=[f"{part}-{kind.name}-{grade}" for part, kind, grade in CASES]
)
def test_defect_is_found_and_named(records: Records, part: str, kind: FaultKind, grade: str) -> None:
    record = records[part, kind.name, grade, SEED[grade]]
    assert record["verdict"] == "fail", (record["failing"], record["unsure"])
    assert record["named"] == [kind.name], record["failing"]


@pytest.mark.parametrize(("part", "grade"), PLACED)
def test_binding_is_placed_within_two_percent_of_travel(records: Records, part: str, grade: str) -> None:
    assert abs(records[part, "binding", grade, SEED[grade]]["errors"]["place"]) <= 2.0

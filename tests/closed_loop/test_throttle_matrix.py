"""The main job in closed loop: good throttles pass, every defect is found, named and placed.

Firmware, link, simulated bench, recording, diagnosis and verdict as in ``strokebench run throttle-body
--sim``, run once for all tests below, on all cores.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from typing import Any

import pytest
from strokebench.sim.faults import FaultKind
from strokebench.sim.plants import available
from strokebench.sim.trials import Trial, conditions, examine

pytestmark = pytest.mark.slow

PART = "throttle-body"
GOOD_SEEDS = range(1, 31)
OTHER_SEEDS = (1001, 1002)
AT_RANDOM = ("worn_track",)  # its dropouts; of 40 moderately worn ones 38 were found
KINDS = available(PART)
Records = dict[tuple[str, str, int], dict[str, Any]]


def faulty(kind: FaultKind, grade: str, seed: int) -> Trial:
    """One defect at one of its two sizes, at its default place or track."""
    place = kind.places[seed % len(kind.places)] if kind.places else kind.place
    where = f"@{place}" if kind.place_means else ""
    text = f"{kind.name}:{grade}{where}"
    size = kind.severe if grade == "severe" else kind.moderate
    return Trial(kind.name, grade, conditions(PART, seed, (text,)), size, place)


def trials() -> Iterator[Trial]:
    for seed in GOOD_SEEDS:
        yield Trial("good", "good", conditions(PART, seed, ()))
    for number, kind in enumerate(KINDS):
        yield faulty(kind, "moderate", 2 * number + 1)
        yield faulty(kind, "severe", 2 * number + 2)


@pytest.fixture(scope="module")
def records() -> Records:
    planned = list(trials())
    with ProcessPoolExecutor(os.cpu_count()) as pool:
        done = list(pool.map(examine, planned))
    return {
        (trial.name, trial.grade, 0 if trial.name != "good" else trial.spec.seed): record
        for trial, record in zip(planned, done, strict=True)
    }


@pytest.mark.parametrize("seed", GOOD_SEEDS)
def test_good_part_passes(records: Records, seed: int) -> None:
    record = records["good", "good", seed]
    assert record["verdict"] == "pass", (record["named"], record["failing"], record["unsure"])


@pytest.mark.parametrize("grade", ["moderate", "severe"])
@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: str(kind.name))
def test_defect_is_found_and_named(records: Records, kind: FaultKind, grade: str) -> None:
    """At once, but for what shows at random: that in two specimens of three."""
    record = records[kind.name, grade, 0]
    tried = [record]
    if kind.name in AT_RANDOM and not _right(record, kind):
        tried += [examine(faulty(kind, grade, seed)) for seed in OTHER_SEEDS]
    told = [(trial["verdict"], trial["named"], trial["failing"], trial["unsure"]) for trial in tried]
    assert all(_right(trial, kind) for trial in tried[-2:]), told


def _right(record: dict[str, Any], kind: FaultKind) -> bool:
    wanted = "inconclusive" if kind.name == "weak_battery" else "fail"  # the bench's, not the part's
    return bool(record["verdict"] == wanted and record["named"] == [kind.name])


@pytest.mark.parametrize("grade", ["moderate", "severe"])
def test_binding_is_placed_within_two_percent_of_travel(records: Records, grade: str) -> None:
    assert abs(records["binding", grade, 0]["errors"]["place"]) <= 2.0


@pytest.mark.parametrize("name", ["track_dead", "track_shorted"])
@pytest.mark.parametrize("grade", ["moderate", "severe"])
def test_the_right_track_is_blamed(records: Records, name: str, grade: str) -> None:
    record = records[name, grade, 0]
    assert record["failing"] == [f"track_{record['place']}_swing"]


def test_resistance_and_inductance_of_good_parts(records: Records) -> None:
    for seed in GOOD_SEEDS:
        off = records["good", "good", seed]["errors"]
        assert abs(off["winding_resistance"]) < 0.02, seed  # leads beyond the profile's included
        assert abs(off["inductance"]) < 0.05, seed

"""Sensor findings on tracks whose defects are put in by hand, on a motion that scipy solved."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray
from strokebench.data.findings import Finding, Verdict
from strokebench.data.run import RunData
from strokebench.diagnose import diagnose
from strokebench.diagnose.moving.tracks import bridged
from strokebench.parts import load_part
from strokebench.verdict import judge, named_faults

from tests.helpers.solved_throttle import Truth, record, stall_pieces, step_pieces, sweep_pieces

PROFILE = load_part("throttle-body")
Rows = NDArray[np.void]


@pytest.fixture(scope="module")
def whole() -> RunData:
    return record(stall_pieces() + sweep_pieces() + step_pieces(), Truth())


def judged(whole: RunData, change: Callable[[Rows], None]) -> dict[str, Finding]:
    samples = whole.samples.copy()
    change(samples)
    run = RunData(samples, whole.marks, info=whole.info)
    return {finding.key: finding for finding in judge(diagnose(run, PROFILE))}


def named(found: dict[str, Finding]) -> list[str]:
    return named_faults(list(found.values()))


@pytest.mark.parametrize("name", ["a", "b"])
@pytest.mark.parametrize(("volts", "fault"), [(0.0, "track_dead"), (5.0, "track_shorted")])
def test_a_track_that_stands_still_is_named_and_costs_nothing_else(
    whole: RunData, name: str, volts: float, fault: str
) -> None:
    def still(rows: Rows) -> None:
        rows[f"sensor_{name}_v"] = volts

    found = judged(whole, still)
    assert named(found) == [fault]
    assert found[f"track_{name}_swing"].verdict is Verdict.FAIL
    for key in ("friction", "binding", "preload_open", "rest_position"):  # read from the other track
        assert found[key].verdict is Verdict.PASS, key


@pytest.mark.parametrize("place", [0.25, 0.6])
def test_dropouts_at_one_place_are_found_there(whole: RunData, place: float) -> None:
    rng = np.random.default_rng(1)

    def worn(rows: Rows) -> None:
        share = (rows["sensor_b_v"] - 4.5) / -4.0
        hit = (np.abs(share - place) < 0.01) & (rng.random(len(rows)) < 0.3)
        rows["sensor_a_v"][hit] *= 0.4

    found = judged(whole, worn)
    assert named(found) == ["worn_track"]
    assert found["track_a_dropouts"].value >= 3
    assert found["track_a_dropouts"].place == pytest.approx(100 * place, abs=2.0)
    assert found["track_b_dropouts"].value == 0


def test_a_worn_place_wider_than_any_median_is_found_there(whole: RunData) -> None:
    """The wiper is off the track for some 50 ms in each slow pass."""

    def worn(rows: Rows) -> None:
        share = (rows["sensor_b_v"] - 4.5) / -4.0
        rows["sensor_a_v"][np.abs(share - 0.6) < 0.03] *= 0.3

    found = judged(whole, worn)
    assert named(found) == ["worn_track"]
    assert found["track_a_dropouts"].value >= 3
    assert found["track_a_dropouts"].place == pytest.approx(60, abs=3.0)


def test_a_part_that_slams_and_bounces_is_not_bridged() -> None:
    slam = np.r_[np.full(60, 0.5), np.linspace(0.5, 4.5, 8), 4.1, 4.4, np.full(60, 4.5)]
    assert bridged(slam, 4.0, 1e-3) == pytest.approx(slam)
    worn = np.full(120, 2.5)
    worn[50:75] = 0.4
    assert bridged(worn, 4.0, 1e-3) == pytest.approx(np.full(120, 2.5))


def test_one_spike_over_the_air_is_not_wear(whole: RunData) -> None:
    def spike(rows: Rows) -> None:
        rows["sensor_a_v"][15_000] = 0.0

    found = judged(whole, spike)
    assert found["track_a_dropouts"].value == 1
    assert named(found) == []


def test_noise_is_that_put_in(whole: RunData) -> None:
    rng = np.random.default_rng(2)

    def noisy(rows: Rows) -> None:
        rows["sensor_b_v"] += rng.normal(0, 0.005, len(rows))

    found = judged(whole, noisy)
    assert found["track_b_noise"].value == pytest.approx(np.hypot(5.0, 1.0), rel=0.05)
    assert found["track_a_noise"].value == pytest.approx(1.0, rel=0.05)


def test_bend_and_offset_between_tracks_are_told_apart(whole: RunData) -> None:
    def bent(rows: Rows) -> None:
        share = (rows["sensor_b_v"] - 4.5) / -4.0
        rows["sensor_b_v"] += 0.08 * np.sin(np.pi * share)  # 2 % of the span at the middle

    def stretched(rows: Rows) -> None:
        rows["sensor_b_v"] = 4.5 - 1.06 * (4.5 - rows["sensor_b_v"])

    bend, stretch = judged(whole, bent), judged(whole, stretched)
    # A half sine of 2 % leaves 1.2 % on one side of its best straight line (its mean is 2/pi of it).
    assert bend["track_linearity"].value == pytest.approx(1.25, abs=0.2)
    assert bend["track_mismatch"].value == pytest.approx(2.0, abs=0.2)
    assert stretch["track_mismatch"].value == pytest.approx(5.9, abs=0.3)
    assert stretch["track_linearity"].value < 0.2

"""The duty on the gate inputs over the whole range of drive, both polarities."""

from __future__ import annotations

import itertools
import math

import pytest
from strokebench.sim.chip.world import PERIOD_NS, ChipWorld
from tools.chip.duty import Duty, drives, sweep

pytestmark = pytest.mark.chip
STEPS = 41
HALF_STEP = 0.5 / 6250
"""The slices count to 6250: what is asked for is met within half a count."""
EDGE_NS = 16.0
"""The emulator moves in whole CPU instructions: an edge may be told two clocks late."""


@pytest.fixture(scope="module")
def swept(world: ChipWorld) -> list[Duty]:
    found = sweep(world, drives(STEPS))
    worst = max(found, key=lambda point: abs(point.error))
    print(f"{len(found)} drives, largest error {worst.error * 100:.4f} % at {worst.drive / 100:g} %")
    return found


def test_duty_error_over_the_range(swept: list[Duty]) -> None:
    assert len(swept) >= STEPS
    for point in swept:
        assert abs(point.error) <= HALF_STEP + EDGE_NS / PERIOD_NS, point


def test_only_the_leg_of_the_polarity_switches(swept: list[Duty]) -> None:
    for point in swept:
        active, still = ("A", "B") if point.drive >= 0 else ("B", "A")
        assert point.share[f"{still}_HIGH"] == 0 and point.share[f"{still}_LOW"] == 1, point
        together = point.share[f"{active}_HIGH"] + point.share[f"{active}_LOW"]
        assert together == pytest.approx(1, abs=2 * EDGE_NS / PERIOD_NS), point
        assert point.share["BRIDGE_ENABLE"] == 1


def test_true_zero_and_true_full(swept: list[Duty]) -> None:
    """No edge at all at 0 and at 100 %, and pulses of the right period next to them."""
    by_drive = {point.drive: point for point in swept}
    for drive in (-10000, 0, 10000):
        assert by_drive[drive].error == 0 and math.isnan(by_drive[drive].period_ns)
    for drive in (-9999, -1, 1, 9999):
        assert by_drive[drive].period_ns == pytest.approx(PERIOD_NS, abs=EDGE_NS)


def test_duty_rises_with_drive(swept: list[Duty]) -> None:
    measured = [point.measured for point in swept]
    assert all(a < b for a, b in itertools.pairwise(measured))

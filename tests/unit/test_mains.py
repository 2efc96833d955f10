"""The speed of a motor whose supply has a charger on it: neither's ripple is taken for the other's."""

from __future__ import annotations

import math

import numpy as np
import pytest
from strokebench.diagnose.turning.commutation import Motor, turn_rate
from strokebench.diagnose.turning.mains import TALL_LINES, without_mains

ROWS_HZ = 50_000.0


def current(turn_hz: float, ripples: int, mains_hz: float) -> np.ndarray:
    """A motor's ripple of 0.12 A with two harmonics, beside that of a charger, which is taller."""
    time_s = np.arange(20_000) / ROWS_HZ
    lines = [(turn_hz * ripples * n, a) for n, a in ((1, 0.12), (2, 0.02), (3, 0.006))]
    lines += [(2 * mains_hz * n, a) for n, a in ((1, 0.28), (2, 0.1))]
    waves = sum(a * np.sin(2 * math.pi * hz * time_s + hz) for hz, a in lines)
    return np.asarray(6 + waves + np.random.default_rng(4).normal(0, 0.01, len(time_s)))


@pytest.mark.parametrize(
    ("motor", "turn_hz", "expected_hz", "mains_hz"),
    [
        (Motor(8, 2), 116.3, 68.1, 60.0),  # weak magnets: 120 Hz is nearer to what is expected
        (Motor(7, 2), 81.5, 48.0, 60.0),
        (Motor(8, 2), 26.8, 15.8, 60.0),
        (Motor(10, 4), 24.94, 24.56, 50.0),  # the ripple is the charger's fifth line
        (Motor(8, 2), 59.9, 60.0, 60.0),  # it turns as fast as the mains
    ],
)
def test_a_tall_ripple_of_the_supply_is_no_turn_and_hides_none(
    motor: Motor, turn_hz: float, expected_hz: float, mains_hz: float
) -> None:
    values = without_mains(current(turn_hz, motor.ripples, mains_hz), ROWS_HZ, TALL_LINES)
    found = turn_rate(values, ROWS_HZ, motor, expected_hz)
    assert found is not None and found.hz == pytest.approx(turn_hz, rel=2e-3)


def test_without_a_charger_nothing_is_left_out() -> None:
    values = current(26.8, 8, 60.0)
    assert without_mains(values, ROWS_HZ, 0) is values

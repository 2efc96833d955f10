"""Balance of volts of a turning motor on closed forms: contact drops of three laws, computed here.

That the drop of carbon brushes hardly grows beyond a few amperes: Holm, "Electric Contacts", 1967 (from
memory).
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from strokebench.diagnose.stats import Floats, line
from strokebench.diagnose.turning.ranges import compare
from strokebench.diagnose.turning.volts import CONSTANT, OHM, Balance, balance, coasting, driven

R_OHM, K_SI = 0.5, 0.0138
STILL_A, LEVEL_A = np.array([0.3, 0.55, 0.9, 1.3]), np.array([6.4, 5.9, 5.5, 5.2])
LEVEL_RAD_S = np.array([640.0, 480.0, 350.0, 220.0])
START_A = np.array([18.0, 14.0, 11.0, 9.0, 8.0])
LAWS: dict[str, Callable[[Floats], Floats]] = {
    "constant": lambda amps: np.full(len(amps), 0.6),
    "tanh": lambda amps: 0.6 * np.tanh(amps / 0.7),
    "exponential": lambda amps: 0.2 + 0.4 * (1 - np.exp(-amps / 1.8)),
}


def fitted(law: Callable[[Floats], Floats], seed: int) -> Balance:
    rng = np.random.default_rng(seed)

    def volts(amps: Floats, speed: Floats) -> Floats:
        return R_OHM * amps + law(amps) + K_SI * speed + rng.normal(0, 0.003, len(amps))

    def rows(amps: Floats, speed: Floats, u: float) -> tuple[Floats, ...]:
        return amps, volts(amps, speed), np.full(len(amps), u), np.zeros(len(amps)), np.zeros(len(amps))

    still = driven(*rows(STILL_A, np.zeros(4), 0.0035))
    levels = driven(*rows(LEVEL_A, LEVEL_RAD_S, 0.0045), speed=LEVEL_RAD_S)
    start_rad_s = np.linspace(100.0, 500.0, 5)
    start = driven(*rows(START_A, start_rad_s, 0.05), way=start_rad_s * K_SI / 16.0)
    released = coasting(LEVEL_RAD_S[:1], K_SI * LEVEL_RAD_S[:1], np.array([0.005]))
    return balance([still, levels, start, released], R_OHM, 0.006, 0.003, 0.0007)


@pytest.mark.parametrize("law", LAWS)
def test_resistance_and_constant_beside_any_contact_law(law: str) -> None:
    """Sixteen times: 2 u covers nearly always, and is no wider than 8 % of the resistance."""
    inside = [0, 0]
    for seed in range(16):
        found = fitted(LAWS[law], seed)
        (ohm, u_ohm), (k_si, u_k) = found.one(OHM), found.one(CONSTANT)
        inside[0] += abs(ohm - R_OHM) <= 2 * u_ohm
        inside[1] += abs(k_si - K_SI) <= 2 * u_k
        assert 2 * u_ohm < 0.08 * R_OHM and 2 * u_k < 0.005 * K_SI
    assert min(inside) >= 14


def test_a_constant_drop_makes_the_resistance_far_too_high() -> None:
    """The fact that the parts of the drop were made for: a line through the same points, back-EMF taken
    off."""
    amps = np.concatenate((STILL_A, LEVEL_A))
    assert line(amps, R_OHM * amps + LAWS["tanh"](amps)).slope > 1.05 * R_OHM
    assert abs(fitted(LAWS["tanh"], 0).one(OHM)[0] / R_OHM - 1) < 0.04


@pytest.mark.parametrize(("offset_a", "gain"), [(0.0, 0.0), (0.2, -0.01), (-0.15, 0.012)])
def test_the_coarse_range_is_led_back_to_the_fine_one(offset_a: float, gain: float) -> None:
    fine_a = np.array([2.9, 5.4, 4.1])
    coarse = compare(fine_a, (1 + gain) * fine_a + offset_a, 0.006, 0.016)
    found_a, u_a = coarse.fine_a((1 + gain) * 12.0 + offset_a, 1.0)
    assert abs(found_a - 12.0) <= 2 * u_a < 0.2
    middle_a, u_middle_a = coarse.fine_a((1 + gain) * 4.0 + offset_a, 1.0)
    assert middle_a == pytest.approx(4.0, abs=0.01) and u_middle_a < 0.01
    assert math.isclose(coarse.fine_a(3.0, 0.0)[0], 3.0)

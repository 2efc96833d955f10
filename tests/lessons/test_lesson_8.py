"""Lesson 8: what the program reads of the ten parts, against closed formulas and equations solved by SciPy.

The parts' own parameters go into the formulas; the program never sees them.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from functools import cache
from typing import Any

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from strokebench.data.findings import Finding, Verdict
from strokebench.lessons import lesson8_findings as eight
from strokebench.physics.copper import resistance_at
from strokebench.sim.plants import make_plant
from strokebench.sim.plants.base import BRIDGE_OHM
from strokebench.sim.plants.plunger import Coil

from tests.reference.statistics import clean_trials_bound

CLOSE = pytest.approx
SOLENOIDS = (1, 2, 4, 6, 8, 9)
THROTTLES = (3, 5, 7, 10)
IN_GENERAL = [5, *(pytest.param(place, marks=pytest.mark.long) for place in (3, 7, 10))]


@cache
def case(place: int) -> tuple[eight.Case, dict[str, Finding], Any]:
    """Stroke part ``place`` once; its case, what was found by key, and the plant that it is."""
    spec = eight.PARTS[place - 1]
    made = eight.stroke(spec)
    return made, {finding.key: finding for finding in made.findings if finding.known}, make_plant(spec)


def pull_in_ms(coil: Coil, ohm: float, volts: float) -> float:
    """Time from a step of ``volts`` to the end of the motion: V = R i + d(L i)/dt, m a = i^2/2 dL/du - F."""

    def rates(time_s: float, state: np.ndarray) -> list[float]:
        amps, u, speed = state
        gap = coil.gap_m + coil.stroke_m - u
        slope = coil.a_hm / gap**2
        pull = 0.5 * amps**2 * slope - coil.preload_n - coil.rate_n_per_m * u
        dry = coil.coulomb_n * (coil.stiction if speed < 1e-6 else 1.0)
        force = max(pull - dry, 0.0) if speed < 1e-6 else pull - dry - coil.viscous_ns * speed
        growth = (volts - ohm * amps - amps * slope * speed) / (coil.base_h + coil.a_hm / gap)
        return [growth, speed, force / coil.mass_kg]

    def arrived(_time_s: float, state: np.ndarray) -> float:
        return float(state[1] - coil.stroke_m)

    arrived.terminal = True  # type: ignore[attr-defined]
    solved = solve_ivp(rates, (0, 0.1), [0.0, 0.0, 0.0], events=arrived, max_step=2e-5)
    return 1e3 * float(solved.t_events[0][0])


def expected_of_solenoid(plant: Any) -> dict[str, float]:
    """Ohm's law, Fitzgerald/Kingsley/Umans chapter 3 (energy method), and balance of forces at both ends."""
    c, around = plant.coil, plant.conditions
    lead_ohm, far_m = around.lead_ohm, c.gap_m + c.stroke_m
    rest_h, pulled_h = c.base_h + c.a_hm / far_m, c.base_h + c.a_hm / c.gap_m
    loop_ohm = resistance_at(c.resistance_ohm, 25.0, 23.0) + lead_ohm + BRIDGE_OHM + around.source_ohm
    static_n = c.stiction * c.coulomb_n
    in_a = far_m * math.sqrt(2 * (c.preload_n + static_n) / c.a_hm)
    out_a = c.gap_m * math.sqrt(2 * (c.preload_n + c.rate_n_per_m * c.stroke_m - static_n) / c.a_hm)
    return {
        "winding_resistance": resistance_at(c.resistance_ohm, 25.0, 20.0) + lead_ohm - 0.05,
        "inductance": 1e3 * rest_h,
        "plunger_moves": pulled_h / rest_h,
        "pull_in_current": in_a,
        "drop_out_current": out_a,
        "drop_out_ratio": 100 * out_a / in_a,
        "pull_in_time": pull_in_ms(c, loop_ohm - around.source_ohm, 12.0),
        "stall_current": 12.6 / loop_ohm,
        "supply_lowest": 12.6 - around.source_ohm * 12.6 / loop_ohm,
        "source_resistance": 1e3 * around.source_ohm,
    }


@pytest.mark.slow
@pytest.mark.parametrize("place", SOLENOIDS)
def test_solenoids_read_what_their_equations_say(place: int) -> None:
    made, found, plant = case(place)
    expected = expected_of_solenoid(plant)
    if made.truth == "stuck_open":
        expected |= {"plunger_moves": 1.0, "pull_in_current": expected["stall_current"]}
        for never in ("drop_out_current", "drop_out_ratio", "pull_in_time"):
            del expected[never]
            assert never not in found
    checked = [key for key in expected if key in found]
    assert {finding.key for finding in made.telling()} <= set(checked), (
        "a number of the lesson goes unchecked"
    )
    for key in checked:
        room = 0.6 if key == "pull_in_time" else 0.0  # ms: samples are means over one, the dip is a corner
        margin = 0.02 * expected[key] + 2 * found[key].u + room
        assert found[key].value == CLOSE(expected[key], abs=margin), key
    for key in ("winding_resistance", "pull_in_current", "stall_current"):
        assert found[key].value == CLOSE(expected[key], rel=0.025), key


@pytest.mark.slow
@pytest.mark.parametrize("place", IN_GENERAL)
def test_throttles_read_what_their_equations_say(place: int) -> None:
    made, found, plant = case(place)
    m = plant.mover
    coulomb_nm = float(np.median([level for _, _, level in plant._cells]))
    preload_a = m.spring.open_preload_nm / m.k_si
    assert found["motor_constant"].value == CLOSE(m.k_si, rel=0.03)
    assert found["inductance"].value == CLOSE(1e3 * m.inductance_h, rel=0.025)
    assert found["winding_resistance"].value == CLOSE(resistance_at(m.resistance_ohm, 25.0, 20.0), rel=0.025)
    assert found["source_resistance"].value == CLOSE(1e3 * plant.conditions.source_ohm, rel=0.02)
    assert found["friction"].value == CLOSE(coulomb_nm / m.k_si, rel=0.05)
    assert found["preload_open"].value == CLOSE(preload_a, rel=0.02)
    share = 100 * found["friction"].value / preload_a
    if made.truth == "weak_spring":  # friction holds it wherever it stands
        assert share > 100 and found["hysteresis"].value > 100 and found["rest_spread"].value > 50
    else:
        assert found["rest_position"].value == CLOSE(100 * m.spring.rest_rad / m.travel_rad, abs=0.3)
        assert share < 90
    if made.truth == "binding":
        bell = 100 * 0.8 * coulomb_nm / m.k_si / found["friction"].value
        assert found["binding"].place == CLOSE(55.0, abs=1.5) and bell / 3 < found["binding"].value < bell
    if made.truth == "track_dead":
        assert found["track_b_swing"].value == CLOSE(0.0, abs=0.1)


def test_a_good_and_a_bad_part() -> None:
    good, bad = case(1)[0], case(2)[0]
    assert good.verdict is Verdict.PASS and good.right and not good.truth
    assert bad.right and bad.truth == "shorted_turns"
    assert bad.telling()[0].key in ("pull_in_current", "winding_resistance", "inductance")
    outside = [finding for finding in bad.telling() if finding.verdict is Verdict.FAIL]
    assert outside and not any(finding.verdict is Verdict.FAIL for finding in good.telling())


def _wrong(places: Iterable[int]) -> list[tuple[int, str, str]]:
    cases = {place: case(place)[0] for place in places}
    return [(place, tried.truth, tried.named) for place, tried in cases.items() if not tried.right]


def test_answers_about_the_solenoids_are_the_truth() -> None:
    assert _wrong(SOLENOIDS) == []
    assert [place for place in SOLENOIDS if not case(place)[0].truth] == [1, 9]


@pytest.mark.long
def test_all_answers_are_the_truth() -> None:
    assert _wrong(range(1, 11)) == []
    assert [place for place in range(1, 11) if not case(place)[0].truth] == [1, 5, 9]
    # the answer's "7 times in 10" is the exact binomial bound of ten clean trials
    assert 0.7 < clean_trials_bound(len(eight.PARTS)) < 0.75

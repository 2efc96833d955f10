"""How a rotor runs down with open leads: its load's law, from back-EMF that scipy integrated."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from strokebench.data.run import Mark, RunData
from strokebench.data.samples import empty
from strokebench.diagnose import case_of, labels
from strokebench.diagnose.switched.rundown import Rundown, read_fall, read_rundown
from strokebench.diagnose.turning.case import TurningCase
from strokebench.diagnose.turning.law import Law, fit
from strokebench.parts import load_part
from strokebench.report.pictures.foreign import runs_down

ON_S, OFF_S, TOP_V, SPEED = 1.0, 0.3, 8.6, 620.0
TERMS = {0: 75.0, 1: 5.0, 2: 20.0}
"""V/s at the speed it was switched off with, by power of the speed."""


def case(ripple: float = 0.0, top_v: float = TOP_V, until_s: float = OFF_S) -> TurningCase:
    """One second at 12 V and 6 A, then open leads; the commutator's ripple is a share of the back-EMF."""

    def falls(_: float, emf: np.ndarray) -> np.ndarray:
        return -sum(term * (emf / top_v) ** power for power, term in TERMS.items())

    fine_s = np.arange(0, until_s, 1e-5)
    emf_v = np.clip(solve_ivp(falls, (0, until_s), [top_v], t_eval=fine_s, rtol=1e-8).y[0], 0, None)
    angle = 8 * SPEED / top_v * np.cumsum(emf_v) * 1e-5
    rows_v = (emf_v * (1 + ripple * np.cos(angle))).reshape(-1, 100).mean(axis=1)
    rows = empty(round(1000 * ON_S) + len(rows_v))
    rows["time_s"] = (np.arange(len(rows)) + 0.5) / 1000
    on = rows["time_s"] < ON_S
    rows["current_a"], rows["output_b_v"] = np.where(on, 6.0, 0.0), 0.0
    rows["output_a_v"][on], rows["output_a_v"][~on] = 12.0, rows_v
    rows["output_a_v"] += np.random.default_rng(4).normal(0, 0.001, len(rows))
    marks = [
        Mark(labels.SWITCHED_ON, 0.0, ON_S, 0, labels.RUNNING),
        Mark(labels.STEADY, 0.3, ON_S, 1),
        Mark(labels.SWITCHED_OFF, ON_S, ON_S + until_s, 2),
    ]
    found: TurningCase = case_of(RunData(rows, marks, info={"engine": "import"}), load_part("fuel-pump"))
    return found


def law_of(down: Rundown) -> tuple[Law, float]:
    """The law in shares of the torque before it was switched off, and V/s there."""
    coast = down.pieces(SPEED, SPEED)
    assert coast is not None
    found = fit((0, 1, 2), np.ones(1), np.ones(1), np.array([0.003]), np.zeros((0, 1)), coast)
    return found, down.emf_v / SPEED / found.inertia


@pytest.mark.parametrize("ripple", [0.0, 0.025])
def test_the_fall_of_the_back_emf_is_the_loads_law(ripple: float) -> None:
    down = read_rundown(case(ripple), SPEED)
    assert isinstance(down, Rundown) and down.falls
    assert down.emf_v == pytest.approx(TOP_V, rel=0.005)
    found, falls = law_of(down)
    assert falls == pytest.approx(100.0, rel=0.03)
    u = np.sqrt(np.diag(found.covariance))[:3]
    assert np.all(np.abs(100 * found.terms - list(TERMS.values())) < 3 * 100 * u)
    assert 100 * u[0] < 4, "V/s: it says something"


def test_the_picture_of_a_run_down_has_the_law_that_the_back_emf_follows() -> None:
    found = case(0.025)
    down = read_rundown(found, SPEED)
    assert isinstance(down, Rundown)
    fall = read_fall(found, down, SPEED)
    assert fall is not None
    share = np.array([1.0, 0.7, 0.4, 0.2])
    true = sum(term * share**power for power, term in TERMS.items())
    assert fall.slope(share) == pytest.approx(np.asarray(true), rel=0.03)
    picture = runs_down(found)
    assert picture is not None and picture.title == "How it runs down"


def test_without_looking_for_the_ripple_the_law_is_much_less_certain() -> None:
    plain, with_ripple = (read_rundown(case(0.025), speed) for speed in (np.nan, SPEED))
    assert isinstance(plain, Rundown) and isinstance(with_ripple, Rundown)
    # pieces of whole turns leave little of a ripple anyhow, so it is less than 3 times as uncertain
    assert law_of(plain)[0].covariance[0, 0] > 4 * law_of(with_ripple)[0].covariance[0, 0]


def test_volts_that_end_at_once_show_no_back_emf() -> None:
    found = case()
    still = found.run.samples.copy()
    still["output_a_v"][still["time_s"] > ON_S] = 0.0
    down = read_rundown(replace(found, run=replace(found.run, samples=still)))
    assert isinstance(down, Rundown)
    assert not down.falls and down.emf_v < 0.01


def test_a_recording_that_ends_with_the_part_on_or_too_soon_says_so() -> None:
    found = case()
    on = replace(found.run, marks=found.run.marks[:2])
    assert read_rundown(replace(found, run=on)) == "it was not recorded how it was switched off"
    assert read_rundown(case(until_s=0.01)) == "the recording ends as it is switched off"

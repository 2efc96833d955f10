"""Motor constant at the shaft, from the back-EMF of quick moves: volts per speed = torque per ampere."""

from __future__ import annotations

import math

import numpy as np

from strokebench.diagnose import labels
from strokebench.diagnose.case import load_voltage
from strokebench.diagnose.moving import MovingCase
from strokebench.diagnose.stats import Measured, repeats
from strokebench.diagnose.winding import Loop, fit_loop
from strokebench.findings import Finding
from strokebench.physics.copper import COPPER_K_C
from strokebench.run_data import Mark

CONSTANT = ("motor_constant", "Motor constant at the shaft", "V s/rad")
FROM, TO = 0.25, 0.90
"""Part of the way over which is integrated: away from the start, before the stop."""
TRAVEL_U = 0.01
"""Relative standard uncertainty of the nominal travel angle (judgement: +-2 % between parts of a kind)."""


def find(case: MovingCase) -> list[Finding]:
    """Return K from the steps: integral of (V - brush - R i) over a stretch = K x angle + L x change of current.

    The last term is taken from the burst's inductance only through its smallness (it is left out; 1 mH and 1 A
    make 1 mV s against about 300). R is the cold loop warmed as the stalls showed. Angle from nominal travel.
    """
    measured = motor_constant(case)
    if isinstance(measured, str):
        return [case.missing(*CONSTANT, measured)]
    marks = case.stretches(labels.STEP_OPEN)
    return [
        case.finding(
            *CONSTANT[:2], measured, CONSTANT[2], low="shorted_turns", span_s=(marks[0].start_s, marks[-1].end_s)
        )
    ]


def motor_constant(case: MovingCase) -> Measured | str:
    """K in V s/rad (= N m/A) with its standard uncertainty, or why it is not known."""
    if case.position is None:
        return case.why_no_position
    travel_deg = case.profile.nominal.get("travel_deg")
    if travel_deg is None:
        return "the profile does not say how many degrees the travel is"
    loop = fit_loop(case)
    if isinstance(loop, str):
        return loop
    found = [one for mark in case.stretches(labels.STEP_OPEN) if (one := _step(case, mark, loop, travel_deg))]
    if len(found) < 3:
        return f"only {len(found)} quick openings covered enough of the travel, at least 3 are needed"
    table = np.array(found)
    measured = repeats(table[:, 0])
    # What a relative error of R does to K, as seen in these very steps.
    u_loop = float(table[:, 1].mean()) * math.hypot(loop.u_ohm / loop.ohm, 5.0 / (COPPER_K_C + 20) / math.sqrt(3))
    return measured.widened(u_loop, TRAVEL_U * measured.value)


def _step(case: MovingCase, mark: Mark, loop: Loop, travel_deg: float) -> tuple[float, float] | None:
    """K of one quick opening, and the part of it that R i contributes."""
    where, rows = case.percent(mark), case.run.of(mark)
    start, goal = case.rest_percent, 100.0
    share = (where - start) / (goal - start)
    if len(share) < 20 or share[0] > FROM / 2 or share.max() < TO:
        return None
    first, last = int(np.argmax(share >= FROM)), int(np.argmax(share >= TO))
    if last - first < 8:
        return None
    time_s, current_a = rows["time_s"][first : last + 1], rows["current_a"][first : last + 1]
    volts = load_voltage(rows[first : last + 1]) - loop.brush_v
    dropped = _integral(loop.ohm * current_a, time_s)
    angle = math.radians(travel_deg) * (where[last] - where[first]) / 100
    return (_integral(volts, time_s) - dropped) / angle, dropped / angle


def _integral(values: np.ndarray[tuple[int], np.dtype[np.float64]], time_s: np.ndarray[tuple[int], np.dtype[np.float64]]) -> float:
    return float(np.sum((values[1:] + values[:-1]) / 2 * np.diff(time_s)))

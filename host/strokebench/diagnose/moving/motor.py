"""Motor constant at the shaft, from the back-EMF of quick moves: volts per speed = torque per ampere."""

from __future__ import annotations

import math

import numpy as np

from strokebench.data.findings import Finding
from strokebench.data.run import Mark
from strokebench.diagnose import labels
from strokebench.diagnose.case import load_voltage
from strokebench.diagnose.moving.case import MovingCase
from strokebench.diagnose.question import Question
from strokebench.diagnose.stats import Floats, Measured, repeats
from strokebench.diagnose.winding import settled

CONSTANT = ("motor_constant", "Motor constant at the shaft", "V s/rad")
FROM, TO = 0.25, 0.90
"""Part of the way over which is integrated: away from the start, before the stop."""
STILL_PERCENT = 0.7
TRAVEL_U = 0.01
"""Relative standard uncertainty of the nominal travel angle (judgement: +-2 % between parts of a kind)."""

MODEL_U = 0.005
"""Relative, for the inductive term left out and the brush drop that hides in R."""

QUESTION = Question(needs="current volts sensor", group="Turning", keys=(CONSTANT[0],))


def find(case: MovingCase) -> list[Finding]:
    """Return K at the shaft, V s/rad = N m/A: back-EMF over the shaft's speed, gear included.

    From the balance of volts over all that moves: resistance with its warming, contact drop, inductance and
    back-EMF are fitted together, and coasting shows the back-EMF alone. The angle comes from the nominal
    travel, so the part's own travel belongs to the uncertainty.
    """
    measured = motor_constant(case)
    if isinstance(measured, str):
        return [case.missing(*CONSTANT, measured)]
    marks = case.stretches(labels.STEP_OPEN)
    return [
        case.finding(
            *CONSTANT[:2], measured, CONSTANT[2], low="weak_motor", span_s=(marks[0].start_s, marks[-1].end_s)
        )
    ]


def motor_constant(case: MovingCase) -> Measured | str:
    """K in V s/rad (= N m/A) with its standard uncertainty, or why it is not known."""
    if case.position is None:
        return case.why_no_position
    travel_deg = case.profile.nominal.get("travel_deg")
    if travel_deg is None:
        return "the profile does not say how many degrees the travel is"
    found = [k_si for mark in case.stretches(labels.STEP_OPEN) if (k_si := _step(case, mark, travel_deg))]
    if len(found) < 3:
        return f"only {len(found)} quick openings covered enough of the travel, at least 3 are needed"
    measured = repeats(found)
    return measured.widened(
        measured.value * math.hypot(case.accuracy("output_a_v", "gain"), TRAVEL_U, MODEL_U)
    )


def _step(case: MovingCase, mark: Mark, travel_deg: float) -> float | None:
    """K of one quick opening, None when it does not cover enough."""
    where, rows = case.percent(mark), case.of(mark)
    share = (where - case.rest_percent) / (100 - case.rest_percent)
    tail = settled(rows)
    if len(share) < 100 or share[0] > FROM / 2 or share.max() < TO or not 30 <= len(tail) < len(rows):
        return None
    if np.ptp(where[-len(tail) :]) > STILL_PERCENT:
        return None
    first, last = int(np.argmax(share >= FROM)), int(np.argmax(share >= TO))
    end_a = float(np.mean(tail["current_a"]))
    if last - first < 8 or abs(end_a) < 0.2:
        return None
    ohm = float(np.mean(load_voltage(tail))) / end_a
    moving = rows[first : last + 1]
    emf_v = load_voltage(moving) - ohm * moving["current_a"]
    return _integral(emf_v, moving["time_s"]) / math.radians(travel_deg * (where[last] - where[first]) / 100)


def _integral(values: Floats, time_s: Floats) -> float:
    return float(np.sum((values[1:] + values[:-1]) / 2 * np.diff(time_s)))

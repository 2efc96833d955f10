"""Motor constant at the shaft, from the back-EMF while it moves: volts per speed = torque per ampere."""

from __future__ import annotations

import math

from strokebench.data.findings import Finding
from strokebench.diagnose.moving.case import MovingCase
from strokebench.diagnose.question import Question
from strokebench.diagnose.stats import Measured

CONSTANT = ("motor_constant", "Motor constant at the shaft", "V s/rad")
TRAVEL_U = 0.009
"""Relative standard uncertainty of the nominal travel angle (judgement: parts of a kind lie within +-2 %)."""
KNOWN_SHARE = 0.05

QUESTION = Question(needs="current volts sensor", group="Turning", keys=(CONSTANT[0],), anyhow=(CONSTANT[0],))


def find(case: MovingCase) -> list[Finding]:
    """Return K at the shaft, V s/rad = N m/A: back-EMF over the shaft's speed, gear included.

    From the balance of volts over all that moves: resistance with its warming, contact drop, inductance and
    back-EMF are fitted together, and coasting shows the back-EMF alone. The angle comes from the nominal
    travel, so the part's own travel belongs to the uncertainty.
    """
    measured = motor_constant(case)
    if isinstance(measured, str):
        return [case.missing(*CONSTANT, measured)]
    return [case.finding(*CONSTANT[:2], measured, CONSTANT[2], low="weak_motor", span_s=case.moved_s)]


def motor_constant(case: MovingCase) -> Measured | str:
    """K in V s/rad (= N m/A) with its standard uncertainty, or why it is not known."""
    if case.position is None:
        return case.why_no_position
    travel_deg = case.profile.nominal.get("travel_deg")
    if travel_deg is None:
        return "the profile does not say how many degrees the travel is"
    electric = case.fit.electric if case.fit is not None else None
    per_rad = 100 / math.radians(travel_deg)
    value, u = (math.nan, math.inf) if electric is None else electric.constant
    if not u < KNOWN_SHARE * value:
        return "too little quick motion with current and volts to separate back-EMF from resistance"
    share = math.hypot(case.accuracy("output_a_v", "gain"), TRAVEL_U)
    return Measured(value * per_rad, u * per_rad).widened(share * value * per_rad)

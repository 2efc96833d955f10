"""Dry friction and hysteresis from slow sweeps up and down."""

from __future__ import annotations

import math

import numpy as np

from strokebench.data.findings import Finding
from strokebench.diagnose.case import load_voltage
from strokebench.diagnose.moving.case import MovingCase
from strokebench.diagnose.moving.sweeps import GRID, level, typical
from strokebench.diagnose.question import Question
from strokebench.diagnose.stats import Measured, repeats, repeats_or_once

FRICTION = ("friction", "Dry friction", "A")
HYSTERESIS = ("hysteresis", "Friction as a share of spring force", "%")
GEAR_SHARE = 0.005
"""Relative: a gear rubs more under load, so more on the way against the spring (judgement)."""
FOUND_U = 0.08
"""Relative, for somebody else's recording: drag that is not proportional to the speed (from simulated
parts)."""
TOO_STRONG = 1.7
"""Times the lower limit of the preload: no good part's springs are so strong (from the spread of both
families' parts)."""
KNOWN_SHARE = 0.3
"""A fitted friction counts when its uncertainty is below this share of it."""

QUESTION = Question(
    needs="sweeps",
    group="Friction and spring",
    keys=(FRICTION[0], HYSTERESIS[0]),
    anyhow=(FRICTION[0], HYSTERESIS[0]),
)


def find(case: MovingCase) -> list[Finding]:
    """Return dry friction in amperes of motor current, and its share of the spring's force.

    **Friction**: Coulomb friction torque over the motor constant, that is the part of the friction that does
    not depend on speed: the level to which it tends at slow sliding, without the viscous share and without
    what a standing part needs more to break loose. Mean over the opening side, from 4 % of travel beyond rest
    (a seated part: 7 % beyond the seat) to 97 %.

    **Share**: that friction over the mean spring torque at the same places. Type B from the current's gain,
    which cancels in the share; at 100 % the part no longer returns by itself.
    """
    if case.position is None:
        return [case.missing(*quantity, case.why_no_position) for quantity in (FRICTION, HYSTERESIS)]
    friction, torque = friction_level(case), case.torque
    if friction is None or torque is None:
        why = "too little of the opening side was passed both ways"
        return [case.missing(*quantity, why) for quantity in (FRICTION, HYSTERESIS)]
    if case.by_samples and (why := scale_in_doubt(case)):
        return [case.missing(*quantity, why) for quantity in (FRICTION, HYSTERESIS)]
    spring_a, u_spring_a = torque.spring_mean(*case.opening_side)
    share = 100 * friction.value / spring_a
    u_share = share * math.hypot(
        torque.friction(*case.opening_side)[1] / friction.value,
        u_spring_a / spring_a,
        case.u_zero_a / spring_a,
        GEAR_SHARE,
    )
    sweeps = case.sweeps
    curve = typical(sweeps.friction_a)
    return [
        case.finding(
            *FRICTION[:2], friction, FRICTION[2], high="sticky", low="low_friction", span_s=case.moved_s,
            evidence={"pairs": sweeps.pairs, "worst_a": peak(curve), "worst_at": place_of_peak(curve)},
        ),
        case.finding(
            *HYSTERESIS[:2], Measured(share, u_share), HYSTERESIS[2], high="no_return", span_s=case.moved_s
        ),
    ]  # fmt: skip


def _at_most(case: MovingCase) -> float:
    """Half the loop of slow sweeps, which holds drag beside friction, so friction is no more; infinite
    without."""
    half = level(case.sweeps.friction_a, case.side(opening=True, margin=4.0))
    return float(half.mean()) if len(half) else math.inf


def scale_in_doubt(case: MovingCase) -> str:
    """Why amperes of somebody else's recording may be no measure of a torque: its springs take more current
    than those of a good part, empty where they do not, or where its volts show the motor."""
    lower, torque = case.limits("preload_open")[0], case.torque
    if lower is None or torque is None or np.isfinite(load_voltage(case.run.samples)).any():
        return ""
    preload_a = torque.spring_line(*case.opening_side)[0][0]
    if preload_a < TOO_STRONG * lower:
        return ""
    return (
        f"the springs seem to take {preload_a:.2g} A, more than a good part's: the motor is weak or the"
        " current's scale is wrong; with the volts across the part it could be seen"
    )


def peak(curve: np.ndarray[tuple[int], np.dtype[np.float64]]) -> float:
    """Highest value of a curve on GRID, NaN for an empty one."""
    return float(np.nanmax(curve)) if np.isfinite(curve).any() else math.nan


def place_of_peak(curve: np.ndarray[tuple[int], np.dtype[np.float64]]) -> float:
    """Place in % of travel of the highest value, NaN for an empty curve."""
    return float(GRID[int(np.nanargmax(curve))]) if np.isfinite(curve).any() else math.nan


def friction_level(case: MovingCase) -> Measured | None:
    """Return the dry friction in amperes with its uncertainty: from the fit, else (no motor, no rest) half
    the loop of the slow sweeps, of the open side or of all places passed both ways; None without any."""
    if case.torque is not None:
        value, u = case.torque.friction(*case.opening_side)
        upper = case.limits(FRICTION[0])[1]
        if u < KNOWN_SHARE * (upper if case.by_samples and upper is not None else abs(value)):
            found_u = FOUND_U * abs(value) if case.by_samples else 0.0
            value = min(value, _at_most(case)) if case.by_samples else value
            return Measured(value, u).widened(case.accuracy("current_a", "gain") * value, found_u)
    curves = case.sweeps.friction_a
    half = level(curves, case.side(opening=True, margin=4.0))
    if not len(half):
        half = level(curves, np.isfinite(GRID))
    if not len(half):
        return None
    return repeats_or_once(half, FOUND_U * abs(float(half.mean()))) if case.by_samples else repeats(half)

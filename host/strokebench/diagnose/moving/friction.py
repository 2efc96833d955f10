"""Dry friction and hysteresis from slow sweeps up and down."""

from __future__ import annotations

import math

import numpy as np

from strokebench.data.findings import Finding
from strokebench.diagnose.moving.case import MovingCase
from strokebench.diagnose.moving.sweeps import GRID, level, typical
from strokebench.diagnose.question import Question
from strokebench.diagnose.stats import Measured, repeats

FRICTION = ("friction", "Friction (half the loop)", "A")
HYSTERESIS = ("hysteresis", "Friction as a share of spring force", "%")
MIN_PAIRS = 3

QUESTION = Question(needs="sweeps", group="Friction and spring", keys=(FRICTION[0], HYSTERESIS[0]))


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
    sweeps, keep = case.sweeps, case.side(opening=True, margin=4.0)
    half = level(sweeps.friction_a, keep)
    middle = level(sweeps.spring_a, keep)
    if len(half) < MIN_PAIRS:
        why = f"only {len(half)} complete sweeps up and down, at least {MIN_PAIRS} are needed"
        return [case.missing(*quantity, why) for quantity in (FRICTION, HYSTERESIS)]
    measured = repeats(half)
    friction = measured.widened(case.accuracy("current_a", "gain") * measured.value)
    share = repeats(half / middle * 100)
    share = share.widened(case.accuracy("current_a", "offset") / abs(float(middle.mean())) * share.value)
    curve = typical(sweeps.friction_a)
    return [
        case.finding(
            *FRICTION[:2], friction, FRICTION[2], high="sticky", low="low_friction", span_s=sweeps.span_s,
            evidence={"pairs": len(half), "worst_a": peak(curve), "worst_at": place_of_peak(curve)},
        ),
        case.finding(*HYSTERESIS[:2], share, HYSTERESIS[2], high="no_return", span_s=sweeps.span_s),
    ]  # fmt: skip


def peak(curve: np.ndarray[tuple[int], np.dtype[np.float64]]) -> float:
    """Highest value of a curve on GRID, NaN for an empty one."""
    return float(np.nanmax(curve)) if np.isfinite(curve).any() else math.nan


def place_of_peak(curve: np.ndarray[tuple[int], np.dtype[np.float64]]) -> float:
    """Place in % of travel of the highest value, NaN for an empty curve."""
    return float(GRID[int(np.nanargmax(curve))]) if np.isfinite(curve).any() else math.nan


def friction_level(case: MovingCase) -> Measured | None:
    """Return the friction in amperes: of the open side, else of all places passed both ways; None without
    any."""
    curves = case.sweeps.friction_a
    half = level(curves, case.side(opening=True, margin=4.0))
    if not len(half):
        half = level(curves, np.isfinite(GRID))
    return repeats(half) if len(half) else None

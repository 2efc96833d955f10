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
    """Return friction in amperes of motor current and its share of the spring's own current.

    Friction is the median over the open side of half the distance between the currents up and down at the
    same place, one value per pair of sweeps; type A from the pairs, type B from the current gain (the offset
    cancels). The share is a ratio of currents, so the gain cancels too; at 100 % the part no longer returns
    by itself.
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

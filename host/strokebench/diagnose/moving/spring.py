"""Return spring: preload on either side of rest and slope over the travel, in amperes of motor current."""

from __future__ import annotations

import math

import numpy as np

from strokebench.data.findings import Finding
from strokebench.diagnose.moving.case import MovingCase
from strokebench.diagnose.moving.sweeps import GRID, level
from strokebench.diagnose.question import Question
from strokebench.diagnose.stats import Floats, Measured, repeats, robust_line

PRELOAD_OPEN = ("preload_open", "Spring preload, opening side", "A")
PRELOAD_CLOSE = ("preload_close", "Spring preload, closing side", "A")
SLOPE = ("spring_slope", "Spring slope over full travel", "A")
MIN_PLACES = 40
MIN_SPAN = 60.0
"""% of travel that the places must span: a part that jams half way does not show its spring."""
SENSIBLE_CLOSE = 4

QUESTION = Question(
    needs="sweeps", group="Friction and spring", keys=(PRELOAD_OPEN[0], PRELOAD_CLOSE[0], SLOPE[0])
)


def find(case: MovingCase) -> list[Finding]:
    """Return the springs' torque over the motor constant, amperes.

    **Opening side**: least-squares line through the spring's torque over the places from 4 % of travel beyond
    rest (a seated part: 7 % beyond the seat) to 97 %. Preload is that line where the springs change side (a
    seated part: at the seat), slope its rise over the full travel between the stops. **Closing side**: the
    side is too short for a slope, so it is the torque half way between the closed stop and rest. A weak or
    broken spring is low in them all; friction, viscous drag and inertia are fitted beside them.
    """
    sweeps = case.sweeps
    if case.position is None or not math.isfinite(case.rest_percent):
        all_of_them = (PRELOAD_OPEN, SLOPE, PRELOAD_CLOSE)[: 3 if case.two_sided else 2]
        return [case.missing(*quantity, case.why_no_position) for quantity in all_of_them]
    fits = opening_fits(case)
    span_s, gain = sweeps.span_s, case.accuracy("current_a", "gain")
    out = []
    for quantity, column in ((PRELOAD_OPEN, 0), (SLOPE, 1)):
        if len(fits) < 3:
            out.append(case.missing(*quantity, f"only {len(fits)} sweeps cover the opening side both ways"))
            continue
        measured = repeats(fits[:, column])
        offset = case.accuracy("current_a", "offset") if column == 0 else 0.0
        measured = measured.widened(gain * measured.value, offset)
        out.append(case.finding(*quantity[:2], measured, quantity[2], low="weak_spring", span_s=span_s))
    if case.two_sided:
        out.append(_closing(case))
    return out


def opening_fits(case: MovingCase) -> Floats:
    """Return (preload, rise over full travel) in amperes per pair of sweeps, shape (pairs, 2)."""
    fits = [fit for fit in (_fit(case, row) for row in case.sweeps.spring_a) if fit is not None]
    return np.array(fits).reshape(-1, 2)


def _fit(case: MovingCase, row: Floats) -> tuple[float, float] | None:
    keep = case.side(opening=True, margin=4.0, stop=4.0) & np.isfinite(row)
    if keep.sum() < MIN_PLACES or np.ptp(GRID[keep]) < MIN_SPAN:
        return None
    found = robust_line(GRID[keep] - case.rest_percent, row[keep])
    return found.offset, found.slope * 100


def _closing(case: MovingCase) -> Finding:
    values = -level_short(case)
    if len(values) < 3:
        return case.missing(*PRELOAD_CLOSE, "the sweeps do not cover the closing side three times both ways")
    measured = repeats(values)
    measured = measured.widened(
        case.accuracy("current_a", "gain") * measured.value, case.accuracy("current_a", "offset")
    )
    return case.finding(
        *PRELOAD_CLOSE[:2], Measured(measured.value, measured.u), PRELOAD_CLOSE[2], low="weak_rest_spring",
        span_s=case.sweeps.span_s,
    )  # fmt: skip


def level_short(case: MovingCase) -> Floats:
    """Median of i_s on the closing side per pair of sweeps; the side is short, so close to rest and stop."""
    keep = case.side(opening=False, margin=1.5, stop=1.5)
    rows = [row[keep] for row in case.sweeps.spring_a if np.isfinite(row[keep]).sum() >= SENSIBLE_CLOSE]
    return np.array([float(np.nanmedian(row)) for row in rows]) if rows else level(np.empty((0, 0)), keep)

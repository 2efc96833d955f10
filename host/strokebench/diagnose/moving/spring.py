"""Spring: preload on either side of rest and slope over the travel, in amperes of motor current."""

from __future__ import annotations

import math

import numpy as np

from strokebench.data.findings import Finding
from strokebench.diagnose.moving.case import MovingCase
from strokebench.diagnose.moving.friction import GEAR_SHARE
from strokebench.diagnose.moving.sweeps import GRID
from strokebench.diagnose.question import Question
from strokebench.diagnose.stats import Floats, Measured, robust_line

PRELOAD_OPEN = ("preload_open", "Spring preload, opening side", "A")
PRELOAD_CLOSE = ("preload_close", "Spring preload, closing side", "A")
SLOPE = ("spring_slope", "Spring slope over full travel", "A")
MIN_PLACES = 40
MIN_SPAN = 60.0
"""% of travel that the places must span: a part that jams half way does not show its spring."""
TAKEN_FOR_SPRING = 0.012
"""Share of the friction that may stand as a spring's slope: detents and presliding, which are not the same
both ways (judgement, from simulated parts of another build)."""
KNOWN_SHARE = 0.15
"""A spring's figure counts when its uncertainty is below this share of the opening preload."""
STEEPEST = 2.5
"""Times the lower limit of the slope: steeper is no good part's spring (from both families' parts)."""
FOUND_SHARE = 0.4
"""The same for somebody else's recording: share of the preload's lower limit, as a weak spring has little."""

QUESTION = Question(
    needs="sweeps",
    group="Friction and spring",
    keys=(PRELOAD_OPEN[0], PRELOAD_CLOSE[0], SLOPE[0]),
    anyhow=(PRELOAD_OPEN[0], PRELOAD_CLOSE[0], SLOPE[0]),
)


def find(case: MovingCase) -> list[Finding]:
    """Return the springs' torque over the motor constant, amperes.

    **Opening side**: least-squares line through the spring's torque over the places from 4 % of travel beyond
    rest (a seated part: 7 % beyond the seat) to 97 %. Preload is that line where the springs change side (a
    seated part: at the seat), slope its rise over the full travel between the stops. **Closing side**: the
    side is too short for a slope, so it is the torque half way between the closed stop and rest. A weak or
    broken spring is low in them all; friction, viscous drag and inertia are fitted beside them.
    """
    all_of_them = (PRELOAD_OPEN, SLOPE, PRELOAD_CLOSE)[: 3 if case.two_sided else 2]
    if case.position is None or not math.isfinite(case.rest_percent):
        return [case.missing(*quantity, case.why_no_position) for quantity in all_of_them]
    torque = case.torque
    if torque is None:
        why = "too little of the opening side was passed both ways"
        return [case.missing(*quantity, why) for quantity in all_of_them]
    preload, slope = torque.spring_line(*case.opening_side)
    found = (preload, slope, torque.closing_spring)
    out = []
    for quantity, (value, u) in zip(all_of_them, found, strict=False):
        limit = KNOWN_SHARE * abs(preload[0])
        if case.by_samples:
            limit = FOUND_SHARE * abs(case.limits(PRELOAD_OPEN[0])[0] or preload[0])
        if not u < limit:
            out.append(case.missing(*quantity, "too little of that side was passed both ways"))
            continue
        gain, zero_a = case.accuracy("current_a", "gain"), 0.0 if quantity is SLOPE else case.u_zero_a
        low = "weak_rest_spring" if quantity is PRELOAD_CLOSE else "weak_spring"
        taken_a = TAKEN_FOR_SPRING * torque.friction(*case.opening_side)[0] if quantity is SLOPE else 0.0
        tilt_a = _tilt_a(case, slope[0]) if quantity is PRELOAD_OPEN else 0.0
        taken_a = math.hypot(taken_a, _apart_a(case, slope[0]) if quantity is SLOPE else 0.0)
        measured = Measured(value, u).widened(gain * value, GEAR_SHARE * value, zero_a, taken_a, tilt_a)
        out.append(case.finding(*quantity[:2], measured, quantity[2], low=low, span_s=case.moved_s))
    return out


def _tilt_a(case: MovingCase, slope_a: float) -> float:
    """What a slope that is steeper than any good part's makes the preload uncertain by, A, in somebody else's
    recording: a spring that lost its preload is not steeper, but a balance with too much drag or friction
    is."""
    lower = case.limits(SLOPE[0])[0]
    if not case.by_samples or lower is None:
        return 0.0
    return max(slope_a - STEEPEST * lower, 0.0) / 2


def _apart_a(case: MovingCase, slope_a: float) -> float:
    """What the balance's slope and that of the loop's middle differ by, A, in somebody else's recording: a
    single move each way does not part spring from drag well."""
    fits = opening_fits(case) if case.by_samples else np.empty((0, 2))
    return abs(float(fits[:, 1].mean()) - slope_a) if len(fits) else 0.0


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

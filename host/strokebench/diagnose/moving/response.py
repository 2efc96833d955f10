"""How fast the part answers a step and comes back when released."""

from __future__ import annotations

import math

import numpy as np

from strokebench.data.findings import Finding
from strokebench.data.run import Mark
from strokebench.diagnose import labels
from strokebench.diagnose.moving.case import MovingCase
from strokebench.diagnose.question import Question
from strokebench.diagnose.stats import Floats, Measured

OPEN = ("open_time", "Opening time (to 90 %)", "ms")
CLOSE = ("close_time", "Closing time (to 90 %)", "ms")
FROM_OPEN = ("return_open_time", "Return time from open", "ms")
FROM_CLOSED = ("return_close_time", "Return time from closed", "ms")
NEAR = 0.10
NOT_OURS = "its limits are for the bench's own step, which this recording is not of"
START_MS, SENSOR_MS = 0.3, 0.4
"""Standard uncertainties: the step starts anywhere within a tick (evenly spread), and a sensor with a filter
of its own is late (common practice: up to 0.8 ms)."""
PLACE_U = 0.4
"""Standard uncertainty of a place beside the goal, % of the way (judgement: hysteresis of the sensor)."""

QUESTION = Question(
    needs="sensor", group="Times", keys=tuple(key for key, *_ in (OPEN, CLOSE, FROM_OPEN, FROM_CLOSED))
)


def find(case: MovingCase) -> list[Finding]:
    """Return times to open and close (step to 90 % of the way) and to return from either stop (to within 10
    %).

    **Times**: from the beginning of the step (of the release) until the shaft has done 90 % of the way from
    where it stood to its goal, mean over the repeats. The goal of opening and closing is the stop, that of a
    return is rest (the seat). First crossing times, interpolated between samples; coasting returns are not
    slowed by a shorted motor.
    """
    opens = _arrival(case, OPEN, labels.STEP_OPEN, 100.0, "slow")
    returns = _arrival(case, FROM_OPEN, labels.RELEASE_OPEN, math.nan, "no_return")
    if not case.two_sided:
        return [opens, returns]
    closes = _arrival(case, CLOSE, labels.STEP_CLOSE, 0.0, "slow")
    return [opens, closes, returns, _arrival(case, FROM_CLOSED, labels.RELEASE_CLOSE, math.nan, "no_return")]


def _arrival(
    case: MovingCase, quantity: tuple[str, str, str], label: str, target: float, never: str
) -> Finding:
    """Time until the part has arrived at ``target`` (NaN: at rest); ``never``: the defect if it does not."""
    if case.position is None:
        return case.missing(*quantity, case.why_no_position)
    if case.by_samples:
        return case.missing(*quantity, NOT_OURS)
    goal = case.rest_percent if math.isnan(target) else target
    marks = case.stretches(label)
    times = [_time_ms(case, mark, goal) for mark in marks]
    arrived = np.array([time_ms for time_ms in times if time_ms is not None])
    if len(arrived) < 3 or len(arrived) < 0.75 * len(marks):
        why = f"the part got there in {len(arrived)} of {len(marks)} tries"
        return case.missing(*quantity, why, fault=never)
    # the estimand is the mean of these moves, so how they differ among each other is no uncertainty of it
    measured = Measured(
        float(arrived.mean()), math.hypot(START_MS, SENSOR_MS, _by_place_ms(case, marks, goal)), len(arrived)
    )
    span_s = (marks[0].start_s, marks[-1].end_s)
    return case.finding(*quantity[:2], measured, quantity[2], high="slow", span_s=span_s)


def _by_place_ms(case: MovingCase, marks: list[Mark], goal: float) -> float:
    """What the uncertainty of the place makes of the time, ms: much where the part creeps."""
    late = [_time_ms(case, mark, goal, NEAR - PLACE_U / 100) for mark in marks]
    usual = [_time_ms(case, mark, goal) for mark in marks]
    apart = [after - time_ms for after, time_ms in zip(late, usual, strict=True) if after and time_ms]
    return float(np.median(apart)) if apart else 0.0


def _time_ms(case: MovingCase, mark: Mark, goal: float, near: float = NEAR) -> float | None:
    where = case.percent(mark)
    if len(where) < 20:
        return None
    return arrival_ms(where, case.of(mark)["time_s"] - mark.start_s, goal, near)


def arrival_ms(where: Floats, time_s: Floats, goal: float, near: float = NEAR) -> float | None:
    """Milliseconds until all but ``near`` of the way from the first sample to ``goal`` is done; None when it
    never is."""
    way = goal - where[0]
    if abs(way) < 3.0:
        return None
    done = (where - where[0]) / way >= 1 - near
    if not done.any():
        return None
    at = int(np.argmax(done))
    share = (where[at - 1 : at + 1] - where[0]) / way
    back = (share[1] - (1 - near)) / max(share[1] - share[0], 1e-9)
    return float(time_s[at] - back * (time_s[at] - time_s[at - 1])) * 1000

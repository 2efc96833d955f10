"""How fast the part answers a step and comes back when released."""

from __future__ import annotations

import math

import numpy as np

from strokebench.data.findings import Finding
from strokebench.data.run import Mark
from strokebench.diagnose import labels
from strokebench.diagnose.moving.case import MovingCase
from strokebench.diagnose.stats import Floats, repeats

NEAR = 0.10


def find(case: MovingCase) -> list[Finding]:
    """Return times to open and close (step to 90 % of the way) and to return from either stop (to within 10
    %).

    First crossing times, interpolated between samples; coasting returns are not slowed by a shorted motor.
    """
    found = [
        _one(case, "open_time", "Opening time (to 90 %)", labels.STEP_OPEN, 100.0),
        _one(case, "close_time", "Closing time (to 90 %)", labels.STEP_CLOSE, 0.0),
        _one(case, "return_open_time", "Return time from open", labels.RELEASE_OPEN, math.nan),
        _one(case, "return_close_time", "Return time from closed", labels.RELEASE_CLOSE, math.nan),
    ]
    return [one for one in found if case.two_sided or "close" not in one.key]


def _one(case: MovingCase, key: str, title: str, label: str, target: float) -> Finding:
    if case.position is None:
        return case.missing(key, title, "ms", case.why_no_position)
    goal = case.rest_percent if math.isnan(target) else target
    marks = case.stretches(label)
    times = [_time_ms(case, mark, goal) for mark in marks]
    arrived = np.array([one for one in times if one is not None])
    if len(arrived) < 3 or len(arrived) < 0.75 * len(marks):
        why = f"the part got there in {len(arrived)} of {len(marks)} tries"
        return case.missing(key, title, "ms", why, fault="no_return" if "return" in key else "slow")
    measured = repeats(arrived).widened(0.5)  # half a tick: the step may start anywhere inside one
    return case.finding(key, title, measured, "ms", high="slow", span_s=(marks[0].start_s, marks[-1].end_s))


def _time_ms(case: MovingCase, mark: Mark, goal: float) -> float | None:
    where = case.percent(mark)
    if len(where) < 20:
        return None
    return arrival_ms(where, case.of(mark)["time_s"] - mark.start_s, goal)


def arrival_ms(where: Floats, time_s: Floats, goal: float) -> float | None:
    """Milliseconds until 90 % of the way from the first sample to ``goal`` is done; None when it never is."""
    way = goal - where[0]
    if abs(way) < 3.0:
        return None
    done = (where - where[0]) / way >= 1 - NEAR
    if not done.any():
        return None
    at = int(np.argmax(done))
    share = (where[at - 1 : at + 1] - where[0]) / way
    back = (share[1] - (1 - NEAR)) / max(share[1] - share[0], 1e-9)
    return float(time_s[at] - back * (time_s[at] - time_s[at - 1])) * 1000

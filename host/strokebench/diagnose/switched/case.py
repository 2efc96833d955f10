"""What the finders of a part that was just switched on share: its stretches, and its current as captured."""

from __future__ import annotations

import itertools
import math
from typing import Any

import numpy as np

from strokebench.data.findings import Finding
from strokebench.data.run import Burst, Mark
from strokebench.diagnose import labels
from strokebench.diagnose.case import Case
from strokebench.diagnose.expects import PartProfile
from strokebench.diagnose.stats import Floats, Measured

OTHER_START = "its limits are for the bench's own procedure, this recording's drive is not known"
NOT_STEADY = "no long enough stretch in which the current stayed the same"


def running(case: Case, key: str, title: str) -> Finding:
    """Return the median current of the steady stretch; its lower limit holds as long as it is kept.

    Less than that may be a low voltage, so it says nothing against the part.
    """
    mark = steady(case)
    if mark is None:
        return case.missing(key, title, "A", NOT_STEADY)
    amps = abs(float(np.median(case.of(mark)["current_a"])) - zero_a(case))
    u = math.hypot(case.accuracy("current_a", "offset"), case.accuracy("current_a", "gain") * amps)
    found = case.finding(key, title, Measured(amps, u), "A", span_s=(mark.start_s, mark.end_s))
    lower = found.lower
    return found if lower is not None and amps - 2 * u > lower else unlimited(found)


def unlimited(finding: Finding) -> Finding:
    """Return a finding for information: no limits, and why."""
    if not finding.known:
        return finding
    return finding.with_(lower=None, upper=None, fault="", reason=OTHER_START)


def steady(case: Case) -> Mark | None:
    """The steady stretch, None without one."""
    return next(case.run.labelled(labels.STEADY), None)


def starts(case: Case) -> list[Mark]:
    """The stretches whose first rise was recorded, in order of time."""
    return [mark for mark in case.run.labelled(labels.SWITCHED_ON) if mark.kind == labels.START]


def zero_a(case: Case) -> float:
    """What the current reads before anything is switched on, A; 0 when that was not recorded."""
    rest = next(case.run.labelled(labels.REST), None)
    rows = case.of(rest) if rest is not None else case.run.samples[:0]
    return float(np.median(rows["current_a"])) if len(rows) else 0.0


def captured(case: Case, start_s: float, end_s: float) -> Burst | None:
    """The longest piece of the current between two times without a gap, as captured, zero taken off.

    Where the file is no faster than the bench's rows these are taken. None when there is none.
    """
    if not np.isfinite(case.run.samples["current_a"]).any():
        return None
    pieces = [burst for burst in case.run.bursts if burst.label == labels.RECORDING]
    if not pieces:
        return _from_rows(case, start_s, end_s)
    cut = [_cut(piece, start_s, end_s) for piece in pieces]
    best = max(cut, key=lambda piece: len(piece.values))
    return _signed(case, best) if len(best.values) else None


def _cut(burst: Burst, start_s: float, end_s: float) -> Burst:
    first = max(0, math.ceil((start_s - burst.start_s) * burst.rate_hz))
    last = max(first, math.ceil((end_s - burst.start_s) * burst.rate_hz))
    begins_s = burst.start_s + first / burst.rate_hz
    return Burst(burst.channel, burst.unit, burst.rate_hz, begins_s, burst.values[first:last], burst.label)


def _from_rows(case: Case, start_s: float, end_s: float) -> Burst | None:
    rows = case.between(start_s, end_s)
    if len(rows) < 3:
        return None
    step_s = np.diff(rows["time_s"])
    period_s = float(np.median(step_s))
    cuts = [0, *(np.flatnonzero(step_s > 2.5 * period_s) + 1).tolist(), len(rows)]
    first, last = max(itertools.pairwise(cuts), key=lambda span: span[1] - span[0])
    values = np.array(rows["current_a"][first:last], float)
    return _signed(case, Burst("current", "A", 1 / period_s, float(rows["time_s"][first]), values))


def _signed(case: Case, burst: Burst) -> Burst:
    """Zero taken off, and the right way up when the clamp was the wrong way round."""
    values = burst.values - zero_a(case)
    sign = -1.0 if float(np.median(values)) < 0 else 1.0
    return Burst(burst.channel, burst.unit, burst.rate_hz, burst.start_s, sign * values, burst.label)


def rate_hz(case: Case) -> float:
    """How many rows a second the file has, as far as they are kept."""
    pieces = [burst for burst in case.run.bursts if burst.label == labels.RECORDING]
    if pieces:
        return pieces[0].rate_hz
    time_s = case.time_s
    return 1 / float(np.median(np.diff(time_s))) if len(time_s) > 2 else math.nan


def covered(burst: Burst | None, start_s: float, end_s: float) -> bool:
    """True when a piece reaches from one time to the other, but for two of its rows at each end."""
    if burst is None:
        return False
    slack_s = 2.5 / burst.rate_hz
    last_s = burst.start_s + len(burst.values) / burst.rate_hz
    return burst.start_s <= start_s + slack_s and last_s >= end_s - slack_s


def times(burst: Burst) -> Floats:
    """Time of each value, s."""
    return np.asarray(burst.start_s + np.arange(len(burst.values)) / burst.rate_hz, float)


def centre(profile: PartProfile, key: str) -> float:
    """The middle between a finding's limits in the profile, NaN without both."""
    limit: Any = profile.findings.get(key)
    if limit is None or limit.lower is None or limit.upper is None:
        return math.nan
    return float(limit.lower + limit.upper) / 2

"""Inrush: how much current it takes while it runs up, and how long that lasts."""

from __future__ import annotations

import math

import numpy as np

from strokebench.data.findings import Finding
from strokebench.data.run import Mark
from strokebench.data.samples import empty
from strokebench.diagnose import labels
from strokebench.diagnose.case import Case
from strokebench.diagnose.question import Question
from strokebench.diagnose.stats import Measured, moving_mean

PEAK = ("inrush_peak", "Inrush: highest current of the start", "A")
RATIO = ("inrush_ratio", "Inrush divided by running current", "")
TIME = ("start_time", "Time until the current has settled", "ms")
SETTLED = 0.15
COARSE_U_A = 0.1

QUESTION = Question(needs="current", group="Turning", keys=(PEAK[0], RATIO[0], TIME[0]))


def find(case: Case) -> list[Finding]:
    """Return peak, ratio to the running current and settling time of the start.

    Of a start at once from standstill where the procedure has one, else of the soft start. Peak: highest mean
    over 1 ms, the PWM's ripple is not in it; ratio: to the median of the last 20 %; settled: within 15 % of
    that for good. Supply at the peak goes into ``evidence``: it sags, so the peak is not V/R.
    """
    mark, how = _start(case)
    rows = case.run.of(mark) if mark is not None else empty()
    if mark is None or len(rows) < 100:
        why = "the procedure has no start from standstill"
        return [case.missing(*quantity, why) for quantity in (PEAK, RATIO, TIME)]
    current_a = np.asarray(rows["current_a"], float)
    end_a = float(np.median(current_a[-len(rows) // 5 :]))
    at = int(np.argmax(current_a))
    peak_a = float(current_a[at])
    if end_a < 0.1:
        return [case.missing(*quantity, "no current flowed") for quantity in (PEAK, RATIO, TIME)]
    # over 41 ms, so that unevenness within a turn does not count
    away = np.abs(moving_mean(current_a, 41) - end_a) > SETTLED * end_a
    settled = int(np.flatnonzero(away)[-1]) + 1 if away.any() else 0
    gain = case.accuracy("current_a", "gain")
    u_peak = math.hypot(COARSE_U_A, gain * peak_a)
    evidence = {"start": how, "supply_v": float(rows["supply_v"][at]), "drive": float(rows["drive"][at])}
    when = (mark.start_s, mark.end_s)
    ratio = Measured(peak_a / end_a, math.hypot(u_peak / end_a, COARSE_U_A * peak_a / end_a**2))
    took_s = float(rows["time_s"][settled] - rows["time_s"][0]) if settled < len(rows) else math.nan
    return [
        case.finding(
            *PEAK[:2], Measured(peak_a, u_peak), PEAK[2], high="high_inrush", span_s=when, evidence=evidence,
        ),
        case.finding(*RATIO[:2], ratio, RATIO[2], high="high_inrush", span_s=when),
        case.finding(*TIME[:2], Measured(1e3 * took_s, 2.0), TIME[2], high="slow_start", span_s=when),
    ]  # fmt: skip


def _start(case: Case) -> tuple[Mark | None, str]:
    hard = next(case.run.labelled(labels.STEP_START), None)
    if hard is not None:
        return hard, "at once"
    marks = list(case.run.labelled(labels.SOFT_START))
    if not marks:
        return None, ""
    return Mark(labels.SOFT_START, marks[0].start_s, marks[-1].end_s), "soft"

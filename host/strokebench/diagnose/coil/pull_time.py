"""How long the plunger takes to pull in, against the voltage at the coil."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from strokebench.data.findings import Finding
from strokebench.data.run import Mark
from strokebench.diagnose import labels
from strokebench.diagnose.coil.case import CoilCase
from strokebench.diagnose.question import Question
from strokebench.diagnose.stats import Floats, Measured, line

TIME = ("pull_in_time", "Pull-in time at 12 V", "ms")
WEAK = ("pull_in_time_low", "Pull-in time at the lowest voltage", "ms")
AT_V = 12.0
LEAST_DIP = 0.05
U_MS = 0.5
"""The dip's bottom is a corner and samples are means over a millisecond, so it reads up to 0.6 ms late; the
slew's delay is taken off to first order: judgement."""

QUESTION = Question(needs="current volts", group="Times", keys=(TIME[0], WEAK[0]))


@dataclass(frozen=True)
class Pull:
    """One quick pull-in: volts at the coil, milliseconds from the step to the end of the motion."""

    volts: float
    time_ms: float
    start_s: float


def find(case: CoilCase) -> list[Finding]:
    """Return the time to pull in at 12 V (a line through log time over log voltage) and at the lowest
    voltage.

    The motion ends where the current's dip ends (its valley). The bench's slew limit makes a ramp of the
    step; the time by which the ramp's volt-seconds lag behind an ideal step's is taken off."""
    found = pulls(case)
    marks = case.stretches(labels.PULL_STEP)
    if len(found) < 3:
        why = f"the current showed a dip in only {len(found)} of {len(marks)} quick steps"
        return [case.missing(*quantity, why) for quantity in (TIME, WEAK)]
    span_s = (marks[0].start_s, marks[-1].end_s)
    volts = np.array([pull.volts for pull in found])
    times = np.array([pull.time_ms for pull in found])
    lowest = volts < volts.min() + 0.3
    weak = Measured(float(times[lowest].mean()), math.hypot(U_MS, float(np.ptp(times[lowest])) / 2))
    table = {"volts": volts.tolist(), "time_ms": times.tolist()}
    return [
        case.finding(
            *TIME[:2], at_voltage(volts, times), TIME[2], high="slow", span_s=span_s, evidence=table
        ),
        case.finding(
            *WEAK[:2], weak, WEAK[2], high="slow", span_s=span_s, evidence={"volts": float(volts.min())}
        ),
    ]


def at_voltage(volts: Floats, times_ms: Floats) -> Measured:
    """Time at 12 V: t = c V^-k between the voltages measured, else the nearest one's."""
    if np.ptp(volts) < 1.0:
        return Measured(float(times_ms.mean()), U_MS)
    fitted = line(np.log(volts), np.log(times_ms))
    value = math.exp(fitted.offset + fitted.slope * math.log(AT_V))
    return Measured(value, math.hypot(U_MS, value * fitted.residual))


def pulls(case: CoilCase) -> list[Pull]:
    """Return every quick step in which the current dips."""
    found = (_pull(case, mark) for mark in case.stretches(labels.PULL_STEP))
    return [pull for pull in found if pull is not None]


def _pull(case: CoilCase, mark: Mark) -> Pull | None:
    here = case.window(mark.start_s, mark.end_s)
    volts, current_a = case.volts[here], case.current_a[here]
    at = valley(current_a)
    if at is None:
        return None
    end_v = float(np.median(volts[-20:]))
    lag = float(np.sum(1 - volts[: int(at) + 1] / end_v))
    return Pull(end_v, at + 0.5 - lag, mark.start_s)


def valley(current_a: Floats) -> float | None:
    """Place in samples of the bottom of the first dip of a rising current, None without a dip.

    The dip is where the running maximum is undercut most; the bottom is that of a parabola through three
    samples."""
    if len(current_a) < 20:
        return None
    under = np.maximum.accumulate(current_a) - current_a
    at = int(np.argmax(under))
    if under[at] < LEAST_DIP * current_a.max() or not 1 <= at < len(current_a) - 1:
        return None
    left, low, right = current_a[at - 1 : at + 2]
    bend = left - 2 * low + right
    return at + (0.5 * (left - right) / bend if bend > 0 else 0.0)

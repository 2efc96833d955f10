"""How long the plunger takes to pull in, against the voltage at the coil."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from strokebench.data.findings import Finding
from strokebench.data.run import Mark
from strokebench.diagnose import labels
from strokebench.diagnose.coil.case import CoilCase
from strokebench.diagnose.coil.inductor import responses
from strokebench.diagnose.coil.pull import snaps
from strokebench.diagnose.question import Question
from strokebench.diagnose.stats import Floats, Measured, line, repeats
from strokebench.diagnose.winding import Loop

TIME = ("pull_in_time", "Pull-in time at 12 V", "ms")
WEAK = ("pull_in_time_low", "Pull-in time at the lowest voltage", "ms")
AT_V = 12.0
LEAST_DIP = 0.05
U_MS, GROWTH_U = 0.3, 0.2
"""Standard uncertainty: the dip's bottom is a corner and samples are means over a millisecond; and of the
motion's correction for a current that grew otherwise, a share of that (judgement)."""

QUESTION = Question(needs="current volts", group="Times", keys=(TIME[0], WEAK[0]))


@dataclass(frozen=True)
class Pull:
    """One quick pull-in: volts at the coil, milliseconds from the step to the end of the motion, and when in
    the mark it ended (ms)."""

    volts: float
    time_ms: float
    start_s: float
    end_ms: float


def find(case: CoilCase) -> list[Finding]:
    """Return the time to pull in at 12 V, and that at the lowest voltage.

    The motion ends where the current's dip ends (its valley). The bench's slew limit makes a ramp of the
    step. **At 12 V**: from a step of 12 V at the terminals to the seat, the coil as warm as it was: see
    :func:`at_once`; where slow ramps did not show the pull-in current, a line through log time over log
    voltage. **At the lowest voltage**: as it was, less the time by which the ramp's volt-seconds are behind
    an ideal step's.
    """
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
    measured = at_once(case, found) or at_voltage(volts, times)
    return [
        case.finding(*TIME[:2], measured, TIME[2], high="slow", span_s=span_s, evidence=table),
        case.finding(
            *WEAK[:2], weak, WEAK[2], high="slow", span_s=span_s, evidence={"volts": float(volts.min())}
        ),
    ]


def at_once(case: CoilCase, found: list[Pull]) -> Measured | None:
    """Time from an ideal step of 12 V to the seat, None without pull-in current, resistance and inductance.

    It moves from where the current passes the pull-in current. Until then the current of an ideal step goes
    as that of R and L does; from then on the force grows with the current, so the way goes as its rate times
    the third power of time: the motion takes as long as it took, times the third root of the rate's ratio.
    """
    ins, rest = snaps(case, labels.PULL_IN, 1), responses(case, labels.COIL_STEP)
    if len(ins) < 3 or len(rest) < 3 or not isinstance(case.loop, Loop):
        return None
    ohm, henry = case.loop.ohm, float(np.mean([response.rest_henry for response in rest]))
    start_a = float(np.mean([snap.current_a for snap in ins]))
    if not 1.05 * start_a * ohm < AT_V:
        return None
    until_ms = -1e3 * henry / ohm * math.log(1 - start_a * ohm / AT_V)
    ideal_rate = (AT_V - start_a * ohm) / henry
    times, changed = [], []
    for pull in found:
        here = case.window(pull.start_s, pull.start_s + pull.end_ms / 1e3)
        passed = _passes(case.current_a[here], start_a)
        if passed is None or passed[1] <= 0:
            continue
        took_ms = pull.end_ms - passed[0]
        as_ideal_ms = took_ms * (1e3 * passed[1] / ideal_rate) ** (1 / 3)
        times.append(until_ms + as_ideal_ms)
        changed.append(abs(took_ms - as_ideal_ms))
    if len(times) < 3:
        return None
    return repeats(times).widened(U_MS, GROWTH_U * float(np.mean(changed)))


def _passes(current_a: Floats, level_a: float) -> tuple[float, float] | None:
    """When (ms from the start, a sample being the mean of its millisecond) a rising current first passes a
    level, and its rate there, A/ms; None if it does not."""
    over = np.flatnonzero(current_a >= level_a)
    if not len(over) or over[0] < 1:
        return None
    at = int(over[0])
    rate = float(current_a[at] - current_a[at - 1])
    return at - 0.5 + (level_a - float(current_a[at - 1])) / rate, rate


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
    return Pull(end_v, at + 0.5 - lag, mark.start_s, at + 0.5)


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

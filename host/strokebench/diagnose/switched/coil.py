"""A solenoid that was just switched on and off, by its current alone: the dip as it pulls in, the shoulder as
it lets go.

See :mod:`strokebench.diagnose.coil.pull` for why the current shows the motion.  Switched on at once, the
current at which the plunger starts is more than the pull-in current of a slow ramp, so no limit of that
applies.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from strokebench.data.findings import Finding
from strokebench.data.run import Burst, Mark
from strokebench.diagnose import labels
from strokebench.diagnose.case import Case
from strokebench.diagnose.coil import pull, pull_time
from strokebench.diagnose.question import Question
from strokebench.diagnose.stats import Floats, Measured, moving_mean, spread
from strokebench.diagnose.switched.case import captured, covered, rate_hz, starts, times, unlimited

TIME = (pull_time.TIME[0], "Pull-in time at the volts it got", "ms")
CURRENT = (pull.PULL_IN[0], "Current at which it began to pull in", "A")
LET_GO = (pull.DROP_OUT[0], "Current at which it began to let go", "A")
LET_GO_TIME = ("drop_out_time", "Time until the plunger begins to let go", "ms")
SMOOTH_S = 0.0003
WITHIN_S = 0.2
"""A plunger that has not moved by then does not: later the current falls as the coil warms up."""
LEAST_DIP = 0.03
"""Share of the current that a dip must have."""
FALL_S, LEAST_SHARE, SLOWER = 0.002, 0.03, 0.8
"""Letting go: its rate is taken over so long, down to this share of what was held; it must slow so far."""
SURE = 4.0
"""Sigmas of the rate's noise that must fit into this slowing."""
FALL_HZ, FALL_U_MS = 5000.0, 0.7
SIGMAS = 8.0
SLOWEST_HZ = 900.0
HELD, LEFT = 0.9, 0.97
"""Switched off: the current last had so much of what it held (the former also while noise moves it)."""
RISES_AGAIN = 0.5
"""Share of a dip's depth by which the current must rise again: the edge of switching off does not."""
TWO = 0.7
"""Share of the deepest dip's depth from which on a second one may as well be the plunger's (judgement)."""
APART_S = 0.002
"""Two dips are so far apart at least; nearer, they are one with noise on it."""
U_MS = 0.3
"""Corner of dip or shoulder, and the moment of switching: judgement."""

QUESTION = Question(
    needs="current",
    group="Friction and spring",
    keys=(CURRENT[0], pull.DIP[0], TIME[0], LET_GO[0], LET_GO_TIME[0]),
    group_by_key={TIME[0]: "Times"},
)


@dataclass(frozen=True)
class Motion:
    """One motion: current at which it began, share by which that went back, time since switching, when."""

    current_a: float
    swing: float
    time_ms: float
    at_s: float


def find(case: Case) -> list[Finding]:
    """Return current, dip and time of the pull-in, and current and time of letting go."""
    if rate_hz(case) < SLOWEST_HZ:
        why = f"at {rate_hz(case):.0f} rows a second a motion of a few milliseconds can be missed"
        return [case.missing(*quantity, why) for quantity in (CURRENT, pull.DIP, TIME, LET_GO, LET_GO_TIME)]
    begun = starts(case)
    ins = [motions for mark in begun if (motions := _pulled_in(case, mark))]
    outs = [motion for mark in begun if (motion := _let_go(case, mark)) is not None]
    return [*_in(case, ins, len(begun)), *_out(case, outs)]


def _in(case: Case, seen: list[list[Motion]], tried: int) -> list[Finding]:
    """``seen``: of each switch-on what may be the pull-in; with two of them anywhere none is taken."""
    if why := _why_no_pull_in(seen, tried):
        return [case.missing(*quantity, why) for quantity in (CURRENT, pull.DIP, TIME)]
    ins = [motions[0] for motions in seen]
    gain = case.accuracy("current_a", "gain")
    current = _mean([motion.current_a for motion in ins], 0.0)
    dip = _mean([100 * motion.swing for motion in ins], 0.0)
    took = _mean([motion.time_ms for motion in ins], math.hypot(U_MS, 1e3 / rate_hz(case)))
    when = (ins[0].at_s - 0.05, ins[0].at_s + 0.05)
    named = ((CURRENT, current.widened(gain * current.value)), (pull.DIP, dip), (TIME, took))
    return [unlimited(case.finding(*name[:2], measured, name[2], span_s=when)) for name, measured in named]


def _why_no_pull_in(seen: list[list[Motion]], tried: int) -> str:
    if not tried:
        return "the recording begins with the part already on"
    if not seen:
        return f"the current showed no dip in {tried} switch-ons: the plunger did not move, or too slowly"
    two = next((motions for motions in seen if len(motions) > 1), None)
    if two is None:
        return ""
    when = " and ".join(f"{motion.time_ms:.1f} ms ({100 * motion.swing:.0f} %)" for motion in two)
    return f"the current dips twice alike, at {when}: either may be the plunger's arrival"


def _out(case: Case, outs: list[Motion]) -> list[Finding]:
    if not outs:
        why = "the current fell without a shoulder: too fast, the plunger stuck, or it was not recorded"
        if rate_hz(case) < FALL_HZ:
            why = f"at {rate_hz(case):.0f} rows a second the shoulder of the falling current cannot be seen"
        return [case.missing(*quantity, why) for quantity in (LET_GO, LET_GO_TIME)]
    current = _mean([motion.current_a for motion in outs], 0.0)
    current = current.widened(case.accuracy("current_a", "gain") * current.value)
    took = _mean([motion.time_ms for motion in outs], FALL_U_MS)
    when = (outs[0].at_s - 0.05, outs[0].at_s + 0.05)
    named = ((LET_GO, current), (LET_GO_TIME, took))
    return [unlimited(case.finding(*name[:2], measured, name[2], span_s=when)) for name, measured in named]


def _mean(values: list[float], u_each: float) -> Measured:
    """Mean of repeats; of a single one the uncertainty is its own, and a twentieth of it at least."""
    mean = float(np.mean(values))
    apart = float(np.std(values)) if len(values) > 1 else 0.05 * abs(mean)
    return Measured(mean, math.hypot(u_each, apart), len(values))


def _smooth(burst: Burst) -> Floats:
    return moving_mean(burst.values, 2 * round(SMOOTH_S * burst.rate_hz / 2) + 1)


def _noise_a(case: Case, burst: Burst) -> float:
    """Of the smoothed current: its scatter from value to value, and the digitizer's at rest."""
    width = max(1.0, SMOOTH_S * burst.rate_hz)
    return max(spread(np.diff(burst.values)) / math.sqrt(2 * width), case.accuracy("current_a", "noise") / 3)


def _pulled_in(case: Case, mark: Mark) -> list[Motion]:
    """What may be the pull-in after a switch-on, in order of time: nothing, one dip, or two alike."""
    end_s = min(mark.end_s, mark.start_s + WITHIN_S)
    start_s = max(mark.start_s - 0.002, float(case.time_s[0]) - 0.0005)  # a row is the mean around its time
    burst = captured(case, start_s, end_s)
    if burst is None or not covered(burst, start_s, end_s):
        return []
    amps = _smooth(burst)
    on = np.flatnonzero(amps >= HELD * np.median(amps[len(amps) // 2 :]))
    amps = amps[: on[-1] + 1] if len(on) else amps  # without most of what follows the switching off
    time_s = times(burst)
    found = []
    least_a = max(LEAST_DIP * float(amps.max(initial=0.0)), SIGMAS * _noise_a(case, burst))
    for top, low in dips(amps, max(1, round(APART_S * burst.rate_hz)), least_a):
        began_a = float(amps[top])
        took_s = float(time_s[low]) - _switched_s(time_s[: top + 1], amps[: top + 1])
        swing = (began_a - float(amps[low])) / began_a
        found.append(Motion(began_a, swing, 1e3 * took_s, float(time_s[low])))
    return found


def dips(amps: Floats, apart: int, least_a: float) -> list[tuple[int, int]]:
    """Places of top and bottom of the deepest dip of a rising current, and of another that is nearly as deep.

    A dip's depth is how far the current is below what it was, at most twice as far as it rises again
    (:data:`RISES_AGAIN`): the edge of a part that is switched off is deep too, but nothing rises after it.
    ``apart``: samples between two dips; one less deep than ``least_a`` is none.
    """
    if len(amps) < 10:
        return []
    before = np.maximum.accumulate(amps)
    depth = before - amps
    depth = np.minimum(depth, (np.maximum.accumulate(amps[::-1])[::-1] - amps) / RISES_AGAIN)
    low = int(np.argmax(depth))
    if depth[low] <= least_a:
        return []
    found = [low]
    top = int(np.argmax(amps[:low]))
    between = np.flatnonzero(amps[low:] >= amps[low] + RISES_AGAIN * depth[low])
    for start, end in (
        (0, top - apart),
        (low + max(apart, int(between[0]) if len(between) else apart), len(amps)),
    ):
        if end - start < 10:
            continue
        piece = amps[start:end]
        own = np.maximum.accumulate(piece) - piece
        own = np.minimum(
            own, (np.maximum.accumulate(amps[start:][::-1])[::-1][: len(piece)] - piece) / RISES_AGAIN
        )
        at = int(np.argmax(own))
        if own[at] > max(least_a, TWO * depth[low]):
            found.append(start + at)
    return [(int(np.argmax(amps[:at])), at) for at in sorted(found)]


def _switched_s(time_s: Floats, amps: Floats) -> float:
    """When it was switched on: the rise's first part drawn back to zero by a straight line."""
    early = np.flatnonzero((amps > 0.05 * amps[-1]) & (amps < 0.3 * amps[-1]))
    if len(early) < 2:
        return float(time_s[int(np.argmax(amps > 0.05 * amps[-1]))])
    slope, offset = np.polynomial.polynomial.polyfit(time_s[early] - time_s[0], amps[early], 1)[::-1]
    return float(time_s[0] - offset / slope) if slope > 0 else float(time_s[early[0]])


def _let_go(case: Case, mark: Mark) -> Motion | None:
    if rate_hz(case) < FALL_HZ:
        return None
    if not any(abs(off.start_s - mark.end_s) < 1e-6 for off in case.run.labelled(labels.SWITCHED_OFF)):
        return None
    start_s = max(mark.start_s, mark.end_s - WITHIN_S)
    burst = captured(case, start_s, mark.end_s + 0.01)
    if burst is None or not covered(burst, start_s, mark.end_s):
        return None
    held_a = float(np.median(burst.values[: max(3, len(burst.values) // 4)]))
    width = max(1, round(FALL_S * burst.rate_hz))
    left = np.flatnonzero(_smooth(burst) >= LEFT * held_a)
    if not len(left) or held_a <= 0:
        return None
    fall = moving_mean(burst.values[left[-1] :], 2 * (width // 2) + 1)
    noise_a = _noise_a(case, burst) * math.sqrt(SMOOTH_S / FALL_S)
    at = shoulder(fall, width, LEAST_SHARE * held_a, noise_a)
    if at is None:
        return None
    at_s = float(times(burst)[left[-1] + at])
    return Motion(float(fall[at]), 0.0, 1e3 * at / burst.rate_hz, at_s)


def shoulder(fall: Floats, width: int, least_a: float, noise_a: float) -> int | None:
    """Place in a decaying current at which the plunger begins to move back, None where it does not show.

    A coil's current decays at one rate, R/L. While the plunger moves out it falls more slowly, (R + dL/dt)/L,
    and afterwards faster than before, because L is smaller then; a zero that is off does the former only.
    ``width``: samples over which the rate is taken; below ``least_a``, or where ``noise_a`` blurs the rate,
    nothing is looked at.
    """
    kept = _until(fall, max(least_a, 1e-6))
    if len(kept) < 2 * width:
        return None
    rate = np.log(kept[:-width] / kept[width:])
    early = rate[(kept[:-width] < 0.9 * fall[0]) & (kept[:-width] > 0.5 * fall[0])]
    if len(early) < 2 or (pulled := float(np.median(early))) <= 0:
        return None
    kept = _until(kept, SURE * math.sqrt(2) * noise_a / ((1 - SLOWER) * pulled))
    rate = rate[: max(0, len(kept) - width)]
    if len(kept) < 4 * width:
        return None
    late = kept[:-width] < 0.6 * fall[0]
    slowest = int(np.argmin(np.where(late, rate, np.inf)))
    if rate[slowest] > SLOWER * pulled or float(rate[slowest:].max()) < pulled:
        return None
    before = np.flatnonzero(rate[:slowest] >= 0.9 * pulled)
    return int(before[-1]) + width // 2 if len(before) else None


def _until(fall: Floats, least_a: float) -> Floats:
    """The part before it first falls below ``least_a``."""
    gone = np.flatnonzero(fall < least_a)
    return fall[: gone[0]] if len(gone) else fall

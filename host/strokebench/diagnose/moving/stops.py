"""Where a track stands when the part just touches a stop.

A stop gives under the push, and so does what leads to it: the track is read at the end of every move against
the stop, and a line over the motor's current is carried back to the current at which the part came there.
Where nothing is labelled, a stop is where the part stands still at different currents.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from strokebench.diagnose import labels
from strokebench.diagnose.case import Case
from strokebench.diagnose.stats import Floats

CLOSED_ENDS = (labels.STALL_CLOSE, labels.SWEEP_RETURN, labels.STEP_CLOSE)
OPEN_ENDS = (labels.STALL_OPEN, labels.SWEEP_OPEN, labels.STEP_OPEN)
QUICK_ENDS = (labels.STEP_CLOSE, labels.STEP_OPEN)
SLOW_ENDS = (labels.SWEEP_RETURN, labels.SWEEP_OPEN)
END_SAMPLES = 50
SAME_STOP = 0.02
"""Share of the nominal span within which an end counts as the stop."""
NEAR = 0.02
"""Share of the nominal span before the stop at which the current of a slow arrival is read."""
LEVELS_A = 0.5
"""Least spread of the currents that a line over them needs."""
GIVES = 0.02
"""Most that a stop may give, share of the nominal span per ampere: more is something else."""
ARRIVAL_U_A, UNKNOWN_U_A = 0.25, 0.6
"""Standard uncertainty of the current at the touch, because friction holds either way; and without any slow
arrival, when none is taken (judgement)."""
HYSTERESIS = 0.0007
"""Standard uncertainty of a track by the way it was approached, share of its span (judgement: sold with up to
0.3 % of hysteresis, half of it to either side, evenly spread)."""
OWN = 0.7
"""Share of it that each end may have for itself, which tilts the line over them (simulated throttles)."""
UNPRESSED = 0.002
"""Standard uncertainty of an open stop at which there is one current only, share of the span: a sweep may
turn just before it, or the pull may just not reach it (from simulated valves)."""
STANDS = 0.004
"""Share of the nominal span that the track may move in a piece in which the part stands still."""


@dataclass(frozen=True)
class Stop:
    """Track's volts where the part just touches the stop, and their standard uncertainty; NaN without any."""

    volts: float
    u_v: float


def read_stop(case: Case, ends: tuple[str, ...], clean: Floats, span_v: float) -> Stop:
    """Return where the track stands at a stop; ``span_v``: its nominal volts from closed to open.

    Only those ends count that lie within 2 % of the furthest; the rest did not arrive.
    """
    outwards = math.copysign(1.0, span_v) * (1 if ends is OPEN_ENDS else -1)
    # a quick move rams the part into the stop, and friction holds it there
    volts, amps = _ends(case, tuple(label for label in ends if label not in QUICK_ENDS), clean)
    if not len(volts):
        volts, amps = _ends(case, ends, clean)
    labelled = len(volts) > 0
    if not labelled and case.by_samples:
        return Stop(math.nan, 0.0)  # what stood there without being pressed may be its place of rest
    if not labelled:
        volts, amps = _standing(case, clean, span_v)
    if not len(volts):
        return Stop(math.nan, 0.0)
    there = np.abs(volts - volts[np.argmax(volts * outwards)]) < SAME_STOP * abs(span_v)
    volts, amps = volts[there], amps[there]
    plain = float(np.median(volts))
    if not np.isfinite(amps).all() or np.ptp(amps) < LEVELS_A:
        u_share = math.hypot(HYSTERESIS, UNPRESSED if ends is OPEN_ENDS else 0.0)
        return Stop(plain, u_share * abs(span_v)) if labelled else Stop(math.nan, 0.0)
    gives = float(np.polyfit(amps, volts, 1)[0])
    turn = 1 if ends is OPEN_ENDS else -1
    if not 0 <= gives * outwards * turn <= GIVES * abs(span_v):
        return Stop(plain, math.hypot(float(np.std(volts)), HYSTERESIS * span_v))
    arrival_a = _arrival_a(case, ends, clean, plain, outwards, span_v)
    touch_a, u_touch_a = (0.0, UNKNOWN_U_A) if arrival_a is None else (arrival_a, ARRIVAL_U_A)
    left = volts - plain - gives * (amps - float(np.median(amps)))
    touch_v = float(np.mean(volts - gives * (amps - touch_a)))
    scatter_v = float(np.std(left)) / math.sqrt(len(left))
    # a part that rams the stop leaves the first end on another side of the hysteresis than the rest
    reach = (float(amps.mean()) - touch_a) / math.sqrt(float(np.sum((amps - amps.mean()) ** 2)))
    u_hysteresis_v = HYSTERESIS * span_v * math.hypot(1.0, OWN * reach)
    return Stop(touch_v, math.hypot(gives * u_touch_a, scatter_v, u_hysteresis_v))


def _ends(case: Case, ends: tuple[str, ...], clean: Floats) -> tuple[Floats, Floats]:
    """Track's volts and current at the ends of all moves against a stop."""
    lasts = [
        int(np.searchsorted(case.time_s, mark.end_s))
        for label in ends
        for mark in case.stretches(label)
        if mark.kind != labels.FOUND_SHORT
    ]
    pieces = [slice(last - END_SAMPLES, last) for last in lasts if last >= END_SAMPLES]
    current_a = case.run.samples["current_a"]
    volts = np.array([float(np.median(clean[piece])) for piece in pieces])
    return volts, np.array([float(np.median(current_a[piece])) for piece in pieces])


def _standing(case: Case, clean: Floats, span_v: float) -> tuple[Floats, Floats]:
    """Track's volts and current of all pieces in which the part stands still."""
    whole = len(clean) // END_SAMPLES * END_SAMPLES
    volts = clean[:whole].reshape(-1, END_SAMPLES)
    amps = np.asarray(case.run.samples["current_a"][:whole], float).reshape(-1, END_SAMPLES)
    still = np.ptp(volts, axis=1) < STANDS * abs(span_v)
    return np.median(volts[still], axis=1), np.median(amps[still], axis=1)


def _arrival_a(
    case: Case, ends: tuple[str, ...], clean: Floats, stop_v: float, outwards: float, span_v: float
) -> float | None:
    """Current with which slow sweeps arrive at a stop, None where they turn before it."""
    slow = SLOW_ENDS[1] if ends is OPEN_ENDS else SLOW_ENDS[0]
    found = []
    for mark in case.stretches(slow):
        here = case.window(mark.start_s, mark.end_s)
        short_v = (stop_v - clean[here]) * outwards
        if len(short_v) < END_SAMPLES or float(short_v.min()) > NEAR * abs(span_v):
            continue
        at = int(np.argmax(short_v <= NEAR * abs(span_v)))
        found.append(float(np.median(case.run.samples["current_a"][here][max(at - 20, 0) : at + 1])))
    return float(np.median(found)) if found else None

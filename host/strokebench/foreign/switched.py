"""Where a part was switched on and off in a recording that knows no drive: seen in its current alone."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from strokebench.data.run import Mark, RunData
from strokebench.diagnose import labels
from strokebench.diagnose.stats import moving_mean, spread

LEAST_A = 0.05
"""Less change of the current than this is no switching."""
SHARE, SIGMAS, FLOOR_A = 0.01, 6.0, 0.015
"""The current is on above the largest of: a share of its rise, so many times its noise, so many amperes."""
BEGINS_OFF = 0.2
"""Of the highest current: with less at its start a recording begins before the part is switched on."""
BREAK_S, PULSE_S = 0.02, 0.01
"""A shorter break belongs to what is around it (a bouncing contact), a shorter pulse is none."""
OFF_S = 0.5
SMOOTH_S, SMOOTH_SHARE, SETTLED, TAIL = 0.041, 0.2, 0.05, 0.2
"""Steady: means over so long, or that share of a stretch, stay so near the median of so much of its end."""
RARE, CROSSINGS, WANDERS, MOST_WANDER = 0.4, 4, 6.0, 0.3
"""Settled for less than this share of a stretch, in whose second half the current crosses its end so often:
then so many times that half's spread counts as near, but no more than that share of the current."""
LEFT = 0.9
"""Of the current of a stretch's second half: the last time it has this much, it is switched off."""
SHORTEST_S = 0.05
CLAMP_GAIN, CLAMP_ZERO_A = 0.02, 0.1
"""Standard uncertainties of somebody's current clamp: of its gain, and of its zero where no rest shows it
(common practice: 1 to 3 % of the reading; judgement)."""
VOLTS = {
    name: {"gain": 0.01, "offset": 0.01}
    for name in ("output_a_v", "output_b_v", "supply_v", "sensor_a_v", "sensor_b_v")
}
"""Standard uncertainties of somebody's oscilloscope (common practice: 1 to 3 % of the range; judgement)."""
FEW = 0.2
"""With fewer different values than this share of all, they are a digitizer's steps."""
Floats = NDArray[np.float64]


def mark_by_current(run: RunData) -> RunData:
    """Return ``run`` with the marks of :mod:`strokebench.diagnose.labels` added, and what its current
    is worth; unchanged when no current is there or it never rises."""
    rows = run.samples
    current_a = np.asarray(rows["current_a"], float)
    if len(rows) < 20 or not np.isfinite(current_a).all():
        return run
    time_s = np.asarray(rows["time_s"], float)
    period_s = float(np.median(np.diff(time_s)))
    on = on_stretches(current_a, period_s)
    if not on:
        return run
    marks = list(_marks(time_s, on, period_s, begins_with_rise(current_a, period_s)))
    if any(True for _ in run.labelled(labels.REST)):
        marks = [mark for mark in marks if mark.label != labels.REST]  # a procedure's own is better
    longest = max(on, key=lambda span: span[1] - span[0])
    steady = _steady(time_s, current_a, longest, period_s)
    marks += [steady] if steady is not None else []
    marks.sort(key=lambda mark: mark.start_s)
    numbered = [replace(mark, index=len(run.marks) + n) for n, mark in enumerate(marks)]
    rest = next((mark for mark in (*run.marks, *marks) if mark.label == labels.REST), None)
    accuracy = {**VOLTS, **run.accuracy, "current_a": _accuracy(run, rest)}
    return replace(run, marks=[*run.marks, *numbered], accuracy=accuracy)


def begins_with_rise(current_a: Floats, period_s: float) -> bool:
    """True when the first row is still next to nothing and the current rises right behind it: a capture that
    an instrument began at the step itself."""
    top = float(np.percentile(np.abs(current_a), 98))
    early = np.abs(current_a[: math.ceil(PULSE_S / period_s)])
    return bool(early[0] < BEGINS_OFF * top < float(np.median(early)))


def on_stretches(current_a: Floats, period_s: float) -> list[tuple[int, int]]:
    """Return first and last + 1 index of each stretch in which current flows, in order."""
    turned = abs(float(np.percentile(current_a, 2))) > abs(float(np.percentile(current_a, 98)))
    amps = -current_a if turned else current_a
    top = float(np.percentile(amps, 98))
    base = float(np.median(amps[: math.ceil(PULSE_S / period_s)]))
    if begins_with_rise(current_a, period_s):
        base = 0.0
    elif base > BEGINS_OFF * top:  # it begins switched on; a motor that is braked by a short goes below zero
        base = float(moving_mean(amps, 5)[2:-2].min())
    noise = spread(np.diff(amps)) / math.sqrt(2)
    if base > max(LEAST_A, 0.5 * top):
        return [(0, len(amps))]  # on all the time
    if top - base < max(LEAST_A, SIGMAS * noise):
        return []
    on = amps - base > max(SHARE * (top - base), SIGMAS * noise, FLOOR_A)
    edges = np.flatnonzero(np.diff(np.concatenate(([False], on, [False])).astype(int)))
    joined: list[tuple[int, int]] = []
    for start, end in edges.reshape(-1, 2).tolist():
        if joined and (start - joined[-1][1]) * period_s < BREAK_S:
            joined[-1] = (joined[-1][0], end)
        else:
            joined.append((start, end))
    return [span for span in joined if (span[1] - span[0]) * period_s >= PULSE_S]


def _marks(time_s: Floats, on: list[tuple[int, int]], period_s: float, rises: bool) -> itertools.chain[Mark]:
    ends = [*time_s.tolist(), float(time_s[-1]) + period_s]
    half_s = period_s / 2  # a row is a mean around its time
    rest, others = [], []
    if (on[0][0] - 1) * period_s >= PULSE_S:
        rest.append(Mark(labels.REST, ends[0] - half_s, ends[on[0][0] - 1] - half_s))
    for number, (start, end) in enumerate(on):
        kind = labels.START if start > 1 or rises else labels.RUNNING
        others.append(Mark(labels.SWITCHED_ON, ends[start] - half_s, ends[end] - half_s, kind=kind))
        until = ends[on[number + 1][0]] if number + 1 < len(on) else ends[-1]
        if end < len(time_s):
            until = min(until, ends[end] + OFF_S)
            others.append(Mark(labels.SWITCHED_OFF, ends[end] - half_s, until - half_s))
    return itertools.chain(rest, others)


def _steady(time_s: Floats, current_a: Floats, on: tuple[int, int], period_s: float) -> Mark | None:
    """The last settled part of one stretch, None when it is too short to tell anything."""
    start, end = on
    size = np.abs(current_a[start:end] - np.median(current_a[:start] if start else 0.0))
    end = start + 1 + int(np.flatnonzero(size >= LEFT * np.median(size[len(size) // 2 :]))[-1])
    width = 2 * round(min(SMOOTH_S, SMOOTH_SHARE * (end - start) * period_s) / period_s / 2) + 1
    amps = current_a[start:end]
    if len(amps) < 2 * width:
        return None
    smooth = moving_mean(amps, width)
    last = float(np.median(smooth[-max(1, int(TAIL * len(amps))) :]))
    settled = _last_settled(smooth, last, SETTLED * abs(last))
    if settled is not None and settled[1] - settled[0] < RARE * len(smooth) and _wanders(smooth, last):
        within_a = min(WANDERS * spread(smooth[len(smooth) // 2 :]), MOST_WANDER * abs(last))
        settled = _last_settled(smooth, last, max(within_a, SETTLED * abs(last)))
    if settled is None:
        return None
    first, stop = start + settled[0], settled[1]
    if stop < len(smooth) or end < len(time_s):
        stop -= width // 2  # the mean there already knows of what follows
    end = start + stop
    if (end - first) * period_s < SHORTEST_S:
        return None
    return Mark(labels.STEADY, float(time_s[first]), float(time_s[end - 1]) + period_s / 2)


def _last_settled(smooth: Floats, last_a: float, within_a: float) -> tuple[int, int] | None:
    """First and last + 1 index of the last stretch near a current, None without any."""
    near = np.abs(smooth - last_a) <= within_a
    if not near.any():
        return None
    stop = int(np.flatnonzero(near)[-1]) + 1
    away = np.flatnonzero(~near[:stop])
    return (int(away[-1]) + 1 if len(away) else 0), stop


def _wanders(smooth: Floats, last_a: float) -> bool:
    """True for a current that goes to and fro, as with brushes that bounce, rather than settles slowly."""
    second = smooth[len(smooth) // 2 :] > last_a
    return int(np.count_nonzero(second[1:] != second[:-1])) >= CROSSINGS


def _accuracy(run: RunData, rest: Mark | None) -> dict[str, float]:
    """What the current is worth: noise of a row as the rest shows it, or one step of the digitizer.

    A digitizer whose one step is larger than the noise shows none at rest; a step's share of a row is then
    what it can be off.
    """
    current_a = np.asarray(run.samples["current_a"], float)
    raw = run.bursts[0].values if run.bursts else current_a
    levels = np.unique(raw)
    stepped = 1 < len(levels) < FEW * len(raw)
    step_a = float(np.median(np.diff(levels))) if stepped else 0.0
    rows_each = run.bursts[0].rate_hz / 1000 if run.bursts else 1.0
    noise_a = step_a / math.sqrt(12 * max(rows_each, 1.0))
    if rest is None:
        return {"offset": CLAMP_ZERO_A, "gain": CLAMP_GAIN, "noise": noise_a}
    quiet = np.asarray(run.of(rest)["current_a"], float)
    noise_a = math.hypot(noise_a, float(np.std(quiet)) if len(quiet) > 1 else 0.0)
    offset_a = max(noise_a / math.sqrt(max(len(quiet), 1)), step_a / math.sqrt(12))
    return {"offset": offset_a, "gain": CLAMP_GAIN, "noise": noise_a}

"""How a part with a position sensor was moved in somebody else's recording: strokes, pushes and releases in
its samples.

The marks carry the labels of a procedure, so that every question finds its evidence; their kind says that
they were found (:data:`strokebench.diagnose.labels.FOUND`).  Drive and volts are not needed.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from strokebench.data.run import Mark, RunData
from strokebench.diagnose import labels
from strokebench.diagnose.expects import PartProfile, nominal_percent
from strokebench.diagnose.moving.sweeps import TOO_FAST
from strokebench.diagnose.moving.tracks import ALIVE_SHARE, bridged, median_filter
from strokebench.diagnose.stats import moving_mean, spread
from strokebench.foreign.switched import VOLTS

Floats = NDArray[np.float64]
GLITCH_S, SMOOTH_S = 0.031, 0.011
TURNS = 8.0
"""% of travel by which the part has to come back before it has turned round."""
LEG = 25.0
"""% of travel that a stroke covers at least; a shorter move counts only for the stop that it ends at."""
AWAY = 3.0
"""% of travel from which on a part that is released is away from its rest."""
STANDS = 1.0
"""% of travel within which a part stands."""
QUIET_A, SIGMAS = 0.04, 5.0
"""No current: less than this, and than so many times its noise."""
COASTS_S, REST_S = 0.3, 0.02
"""A release lasts so long at least, and the rest before everything."""
PUSH_A, PUSH_SHARE, PUSH_S = 0.25, 0.25, 0.03
"""Pressed against its stop: the current grows by more than this, or than this share of what moved it there,
while the part stands for so long."""


class Leg(NamedTuple):
    """One stroke, as indices: where it begins to move, where it stands again, which way (+1 opens)."""

    start: int
    end: int
    way: int


def mark_by_motion(run: RunData, profile: PartProfile) -> RunData:
    """Return ``run`` with marks where it shows motion of a part with a position sensor; else unchanged."""
    rows = run.samples
    where = position(run, profile)
    if where is None or len(rows) < 100:
        return run
    period_s = float(np.median(np.diff(rows["time_s"])))
    current_a = np.asarray(rows["current_a"], float)
    still = _first_rest(current_a, where, period_s)
    amps = current_a - (float(np.median(current_a[:still])) if still else 0.0)
    off = coasting(amps, period_s)
    ends_s = np.append(rows["time_s"], float(rows["time_s"][-1]) + period_s) - period_s / 2
    found = list(_strokes(amps, where, off, period_s))
    if still * period_s >= REST_S:
        found.append((labels.REST, 0, still, labels.FOUND))
    found += _releases(where, off, still, period_s)
    found.sort(key=lambda mark: mark[1])
    marks = [
        Mark(label, float(ends_s[start]), float(ends_s[end]), len(run.marks) + n, kind)
        for n, (label, start, end, kind) in enumerate(found)
    ]
    return replace(run, marks=[*run.marks, *marks], accuracy={**VOLTS, **run.accuracy})


def position(run: RunData, profile: PartProfile) -> Floats | None:
    """Return where the part is by the track that moves most, % of nominal travel; None when none moves."""
    best: Floats | None = None
    reach = 100 * ALIVE_SHARE
    period_s = float(np.median(np.diff(run.samples["time_s"]))) if len(run.samples) > 2 else 1.0
    for name, layout in profile.tracks.items():
        volts = np.asarray(run.samples[f"sensor_{name}_v"], float)
        if len(volts) < 3 or not np.isfinite(volts).all():
            continue
        kept = bridged(volts, layout.open_v - layout.closed_v, period_s)
        clean = median_filter(kept, 2 * round(GLITCH_S / period_s / 2) + 1)
        percent = moving_mean(nominal_percent(layout, clean), 2 * round(SMOOTH_S / period_s / 2) + 1)
        moves = float(np.ptp(np.percentile(percent, (1, 99))))
        if moves > reach:
            best, reach = percent, moves
    return best


def _first_rest(current_a: Floats, where: Floats, period_s: float) -> int:
    """How many rows at the beginning are of a part that nothing is done to."""
    begin = max(round(REST_S / period_s), 3)
    quiet = max(QUIET_A, SIGMAS * spread(current_a[:begin]))
    changed = np.abs(where - where[:begin].mean()) > STANDS
    if np.isfinite(current_a).all():
        changed |= np.abs(current_a - np.median(current_a[:begin])) > quiet
        if abs(float(np.median(current_a[:begin]))) > 0.3 * float(np.percentile(np.abs(current_a), 98)):
            return 0  # it begins with current on
    still = int(np.argmax(changed)) if changed.any() else len(where)
    return max(still - 2, 0) if still >= begin else 0


def coasting(amps: Floats, period_s: float) -> NDArray[np.bool_]:
    """Mask of the rows in which no current flows for a while; all False where the current is not known."""
    if not np.isfinite(amps).all():
        return np.zeros(len(amps), bool)
    noise = spread(np.diff(amps)) / 2**0.5
    smooth = moving_mean(amps, 2 * round(0.005 / period_s / 2) + 1)
    off = np.abs(smooth) < max(QUIET_A, SIGMAS * noise)
    out = np.zeros(len(amps), bool)
    for start, end in spans(off):
        if (end - start) * period_s < COASTS_S:
            continue
        third = max((end - start) // 3, 1)
        drifts = abs(float(np.mean(amps[start : start + third]) - np.mean(amps[end - third : end])))
        out[start:end] = drifts < QUIET_A / 2  # a slow ramp through zero drifts
    return out


def spans(mask: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """First and last + 1 index of each stretch of True."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], mask, [False])).astype(int)))
    return [(int(start), int(end)) for start, end in edges.reshape(-1, 2)]


Found = tuple[str, int, int, str]


def _releases(where: Floats, off: NDArray[np.bool_], still: int, period_s: float) -> Iterator[Found]:
    """Coasting from the open side or from the closed: whether it moves then or stays."""
    rest = float(np.median(where[:still])) if still else None
    for start, end in spans(off):
        if start <= still:
            continue
        begins = float(where[max(start - round(0.01 / period_s), 0)])
        base = float(np.median(where[(start + 2 * end) // 3 : end])) if rest is None else rest
        if abs(begins - base) > AWAY:
            label = labels.RELEASE_OPEN if begins > base else labels.RELEASE_CLOSE
            yield label, start, end, labels.FOUND


def _strokes(amps: Floats, where: Floats, off: NDArray[np.bool_], period_s: float) -> Iterator[Found]:
    found = [leg for leg in legs(where) if off[leg.start : leg.end].mean() < 0.5]
    for number, leg in enumerate(found):
        until = found[number + 1].start if number + 1 < len(found) else len(where)
        until = leg.end + _first(off[leg.end : until])
        until = leg.end + _until_it_lets_go(amps[leg.end : until] * leg.way)
        since = found[number - 1].end if number else 0
        begin = max(since, leg.start - round(0.3 / period_s))
        begin += _last(off[begin : leg.start])
        pushed = pressed(amps * leg.way, where, leg, until, period_s)
        kind = labels.FOUND if pushed else labels.FOUND_SHORT
        span = where[leg.start : leg.end]
        middle = np.abs(span - span[0]) / max(abs(span[-1] - span[0]), 1e-9)
        took_s = float(((middle > 0.1) & (middle < 0.9)).sum()) * period_s
        quick = 0.8 * abs(float(span[-1] - span[0])) > TOO_FAST * took_s
        opening, closing = (
            (labels.STEP_OPEN, labels.STEP_CLOSE) if quick else (labels.SWEEP_OPEN, labels.SWEEP_RETURN)
        )
        label = opening if leg.way > 0 else closing
        if abs(float(span[-1] - span[0])) >= LEG:
            yield label, begin, max(until, leg.end), kind
            if label == labels.SWEEP_OPEN:
                yield labels.SEAT_OPEN, begin, leg.end, labels.FOUND
        if pushed:
            yield labels.STALL_OPEN if leg.way > 0 else labels.STALL_CLOSE, leg.end, until, labels.FOUND


def _first(mask: NDArray[np.bool_]) -> int:
    return int(np.argmax(mask)) if mask.any() else len(mask)


def _last(mask: NDArray[np.bool_]) -> int:
    return int(np.flatnonzero(mask)[-1]) + 1 if mask.any() else 0


def _until_it_lets_go(outwards_a: Floats) -> int:
    """How many rows of a stand belong to the stroke before it: while it is pushed on."""
    if not len(outwards_a) or not np.isfinite(outwards_a).all():
        return len(outwards_a)
    top = float(np.percentile(outwards_a, 95))
    held = np.flatnonzero(outwards_a >= top - max(0.1 * abs(top), QUIET_A))
    return int(held[-1]) + 1 if len(held) else len(outwards_a)


def legs(where: Floats) -> list[Leg]:
    """Return all moves from one turning point to the next, in order."""
    turning = turning_points(where)
    out = []
    for start, end in pairwise(turning):
        way = 1 if where[end] > where[start] else -1
        moved = (where[start : end + 1] - where[start]) * way
        if moved[-1] < 2 * STANDS:
            continue
        left = start + int(np.flatnonzero(moved < STANDS)[-1])
        there = start + int(np.argmax(moved > moved[-1] - STANDS))
        out.append(Leg(left, max(there, left + 1), way))
    return out


def turning_points(where: Floats) -> list[int]:
    """Indices of the first row, of each extreme that is :data:`TURNS` % beyond its neighbours, of the
    last."""
    found, low, high, way = [0], 0, 0, 0
    for at, value in enumerate(where.tolist()):
        if value > where[high]:
            high = at
        if value < where[low]:
            low = at
        if way >= 0 and where[high] - value > TURNS:
            if high > found[-1]:
                found.append(high)
            way, low = -1, at
        elif way <= 0 and value - where[low] > TURNS:
            if low > found[-1]:
                found.append(low)
            way, high = 1, at
        if way > 0:
            low = at if value < where[low] else low
    last = high if way > 0 else low
    if last > found[-1]:
        found.append(last)
    return found


def pressed(outwards_a: Floats, where: Floats, leg: Leg, until: int, period_s: float) -> bool:
    """True when the part stood at the end of a stroke though it was pushed harder than what had moved it."""
    stand = slice(leg.end, until)
    if (until - leg.end) * period_s < PUSH_S or not np.isfinite(outwards_a[stand]).all():
        return False
    before = slice(max(leg.start, leg.end - round(0.1 / period_s)), leg.end)
    arrival_a = float(np.median(outwards_a[before]))
    push_a = float(np.percentile(outwards_a[stand], 95))
    return push_a - arrival_a > max(PUSH_A, PUSH_SHARE * abs(arrival_a))

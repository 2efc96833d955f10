"""Current against position, up and down, from the slow sweeps.

The current at which the plate first passes a place is what it takes to move there: on the way up spring plus
friction, on the way down spring minus friction, so half the difference is friction and half the sum is spring
(in amperes; both are torques over the motor constant). Current, not drive, is used, because back-EMF widens a
loop drawn against drive (Loh et al., Engineering 5, 2013, give the balance).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from strokebench.diagnose import labels
from strokebench.diagnose.case import Case
from strokebench.diagnose.moving.position import Position
from strokebench.diagnose.stats import Floats, moving_mean

GRID = np.arange(1.5, 98.51, 0.5)
"""Places in % of travel at which currents are compared; the stops themselves are left out."""
SMOOTH = 5
"""Samples of the moving mean over current."""
TOO_FAST = 350.0
"""% of travel per second: a part that snaps out of a jam says nothing about the friction on its way."""
NEUTRAL_CELLS = 3
LEVEL_CELLS = 16
FASTEST = 0.25
"""Change of drive per second above which a passing tells more of the motion than of the friction: left
out."""


@dataclass(frozen=True)
class Sweep:
    """One pass over the travel: ``direction`` +1 opening, -1 closing; ``current_a`` on GRID, NaN where not
    reached.

    ``reach`` is the furthest place in % of travel, ``push_a`` the current at the end of the sweep.
    """

    direction: int
    start_s: float
    end_s: float
    current_a: Floats
    reach: float
    push_a: float


@dataclass(frozen=True)
class Sweeps:
    """All sweeps of a run, and the curves drawn from them (each on GRID, amperes)."""

    passes: tuple[Sweep, ...]

    def towards(self, direction: int) -> Floats:
        """Currents of all sweeps in one direction, shape (sweeps, len(GRID))."""
        rows = [sweep.current_a for sweep in self.passes if sweep.direction == direction]
        return np.array(rows) if rows else np.empty((0, len(GRID)))

    @property
    def pairs(self) -> int:
        """How often both directions were swept."""
        return min(len(self.towards(1)), len(self.towards(-1)))

    @cached_property
    def friction_a(self) -> Floats:
        """Half the loop width per pair of sweeps, shape (pairs, len(GRID))."""
        count = self.pairs
        return np.asarray((self.towards(1)[:count] - self.towards(-1)[:count]) / 2)

    @cached_property
    def spring_a(self) -> Floats:
        """Middle of the loop per pair of sweeps, shape (pairs, len(GRID))."""
        count = self.pairs
        return np.asarray((self.towards(1)[:count] + self.towards(-1)[:count]) / 2)

    @property
    def span_s(self) -> tuple[float, float] | None:
        """Start of the first and end of the last sweep in seconds."""
        if not self.passes:
            return None
        return self.passes[0].start_s, self.passes[-1].end_s


def read_sweeps(case: Case, position: Position | None) -> Sweeps:
    """Return all sweeps of a run; none without a position."""
    if position is None:
        return Sweeps(())
    found = [
        _pass(case, position, mark.start_s, mark.end_s, direction)
        for label, direction in ((labels.SWEEP_OPEN, 1), (labels.SWEEP_RETURN, -1))
        for mark in case.stretches(label)
    ]
    return Sweeps(
        tuple(sorted((sweep for sweep in found if sweep is not None), key=lambda sweep: sweep.start_s))
    )


def _pass(case: Case, position: Position, start_s: float, end_s: float, direction: int) -> Sweep | None:
    samples = case.run.samples
    here = case.window(start_s, end_s)
    low, high = here.start, here.stop
    if high - low < 50:
        return None
    low += start_of_pass(position.percent[low:high], direction)
    where = position.percent[low:high]
    current_a = moving_mean(np.asarray(samples["current_a"][low:high], float), SMOOTH)
    speed = np.abs(np.gradient(moving_mean(where, 11), case.period_s))
    slow = speed < TOO_FAST
    if not case.by_samples:  # there the drive is not known
        rate = np.gradient(moving_mean(np.asarray(samples["drive"][low:high], float), 21), case.period_s)
        slow &= np.abs(rate) < FASTEST
    slow_a = np.where(slow, current_a, math.nan)
    return Sweep(
        direction, start_s, end_s,
        crossing(where * direction, slow_a, GRID[::direction] * direction)[::direction],
        float(where.max() if direction > 0 else where.min()),
        float(np.median(current_a[-30:])),
    )  # fmt: skip


def start_of_pass(where: Floats, direction: int) -> int:
    """Index in a sweep where the part is furthest back: it may be still on its way when the drive turns."""
    return int(np.argmin(where[: max(len(where) // 3, 1)] * direction))


def crossing(where: Floats, current_a: Floats, places: Floats) -> Floats:
    """Return the current at the first passing of each place (ascending), NaN for places never passed.

    A place where the motion starts has been passed before and is NaN too.
    """
    furthest = np.maximum.accumulate(where)
    rising = np.r_[True, np.diff(furthest) > 0]
    index = np.flatnonzero(rising)
    if len(index) < 2:
        return np.full(len(places), math.nan)
    when = np.interp(places, furthest[index], index.astype(float), left=math.nan, right=math.nan)
    # The sample before a place is passed still shows the current that was needed to leave; the one after may
    # already show the motion's back-EMF.
    before = np.floor(np.nan_to_num(when)).astype(int)
    return np.where(np.isnan(when), math.nan, current_a[before])


def typical(curves: Floats) -> Floats:
    """Median over repeats at each place, NaN where no sweep passed."""
    good = ~np.isnan(curves).all(axis=0) if len(curves) else np.zeros(len(GRID), bool)
    out = np.full(len(GRID), math.nan)
    if good.any():
        out[good] = np.nanmedian(curves[:, good], axis=0)
    return out


def level(curves: Floats, keep: np.ndarray[tuple[int], np.dtype[np.bool_]]) -> Floats:
    """Median over the places ``keep`` for each repeat (NaN places left out)."""
    return np.array([float(np.nanmedian(row[keep])) for row in curves if np.isfinite(row[keep]).sum() >= 5])


def neutral(sweeps: Sweeps) -> float:
    """Place in % of travel where the spring changes its side: the steepest rise of the loop's middle; NaN if
    none.

    Unlike the place where the part comes to rest, friction does not move it.
    """
    if sweeps.pairs == 0:
        return math.nan
    curve = typical(sweeps.spring_a)
    step = NEUTRAL_CELLS
    rise = np.full(len(GRID), -math.inf)
    rise[step:-step] = np.nan_to_num(curve[2 * step :] - curve[: -2 * step], nan=-math.inf)
    level = np.array([_change_of_level(curve, at) for at in range(len(GRID))])
    if not np.isfinite(rise).any() or not np.isfinite(level).any():
        return math.nan
    # A tight spot bends the curve too, but its level is the same on either side of it.
    rise[level < 0.8 * level.max()] = -math.inf
    best = float(rise.max())
    return float(np.median(GRID[rise >= best - 0.1 * abs(best)])) if math.isfinite(best) else math.nan


def _change_of_level(curve: Floats, at: int) -> float:
    """Median of the 8 % of travel after a place less that of the 8 % before it, -inf where too little is
    known."""
    before, after = curve[max(0, at - LEVEL_CELLS) : at], curve[at + 1 : at + 1 + LEVEL_CELLS]
    if min(np.isfinite(before).sum(), np.isfinite(after).sum()) < 4:
        return -math.inf
    return float(np.nanmedian(after) - np.nanmedian(before))

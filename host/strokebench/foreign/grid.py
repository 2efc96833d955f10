"""Time of a foreign recording: fast ones averaged to the bench's rate, uneven time put on a grid, gaps kept.

The diagnosis is made for a row per millisecond, each the mean over the tick before it. What the current does
faster (ripple, the dip of a plunger) is kept beside it as captured, as bursts labelled ``recording``.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from strokebench.data.run import Burst
from strokebench.data.samples import COLUMNS, Samples, empty
from strokebench.diagnose.labels import RECORDING

TICK_HZ = 1000.0
FINEST_HZ = 50_000.0
"""Bursts faster than twice this are averaged down to it: nothing that is looked for lies higher."""
GAP_PERIODS = 2.5
"""A longer step is a gap; a shorter one is a row missing or uneven time, and is bridged."""
EVEN = 0.05
"""Steps that differ by less than this share of their median are even."""
SHORTEST = 16
Floats = NDArray[np.float64]
CODES = COLUMNS[-2:]


def at_tick_rate(rows: Samples) -> Samples:
    """Return ``rows`` as means over 1 ms when they are faster, else on an even grid; gaps stay gaps."""
    if len(rows) < 3:
        return rows
    step_s = np.diff(rows["time_s"])
    period_s = float(np.median(step_s))
    if 1 / period_s >= 1.5 * TICK_HZ:
        return _averaged(rows, period_s)
    return rows if _even(step_s, period_s) else _gridded(rows, period_s)


def fast_current(rows: Samples) -> list[Burst]:
    """Return the current as captured, even in time; nothing when it is no faster than the bench's rows."""
    if len(rows) < SHORTEST or not np.isfinite(rows["current_a"]).all():
        return []
    time_s = np.asarray(rows["time_s"], float)
    step_s = np.diff(time_s)
    period_s = float(np.median(step_s))
    if 1 / period_s < 1.5 * TICK_HZ:
        return []
    cuts = np.flatnonzero(step_s > GAP_PERIODS * period_s) + 1
    pieces = zip(np.split(time_s, cuts), np.split(np.asarray(rows["current_a"], float), cuts), strict=True)
    return [_burst(times, values) for times, values in pieces if len(times) >= SHORTEST]


def _burst(time_s: Floats, current_a: Floats) -> Burst:
    period_s = float(time_s[-1] - time_s[0]) / (len(time_s) - 1)
    if not _even(np.diff(time_s), period_s):
        current_a = np.interp(time_s[0] + period_s * np.arange(len(time_s)), time_s, current_a)
    block = max(1, int(1 / period_s / FINEST_HZ))
    whole = current_a[: len(current_a) // block * block].reshape(-1, block).mean(axis=1)
    start_s = float(time_s[0]) + period_s * (block - 1) / 2
    return Burst("current", "A", 1 / period_s / block, start_s, whole, RECORDING)


def _even(step_s: Floats, period_s: float) -> bool:
    inside = step_s[step_s <= GAP_PERIODS * period_s]
    return bool(np.all(np.abs(inside - period_s) < EVEN * period_s))


def _averaged(rows: Samples, period_s: float) -> Samples:
    """Means over each tick, a row taken to hold until the next one; ticks that lie in a gap are left out."""
    time_s, tick_s = np.asarray(rows["time_s"], float), 1 / TICK_HZ
    edges = np.append(time_s, time_s[-1] + period_s)
    count = int((edges[-1] - edges[0]) / tick_s + 1e-6)
    ticks = edges[0] + tick_s * np.arange(count + 1)
    out = empty(count)
    held_s = np.diff(edges)
    for name in COLUMNS[1:-2]:
        if np.isfinite(rows[name]).any():
            total = np.append(0.0, np.cumsum(rows[name] * held_s))
            out[name] = np.diff(np.interp(ticks, edges, total)) / tick_s
    first = np.minimum(np.searchsorted(time_s, ticks[:-1]), len(rows) - 1)
    for name in CODES if count else ():
        out[name] = np.maximum.reduceat(rows[name], first)
    out["time_s"] = ticks[:-1] + 0.5 * (tick_s - period_s)
    gone = np.where(held_s > GAP_PERIODS * period_s, held_s - period_s, 0.0)
    missing = np.diff(np.interp(ticks, edges, np.append(0.0, np.cumsum(gone)))) / tick_s
    kept: Samples = out[missing < 0.5]
    return kept


def _gridded(rows: Samples, period_s: float) -> Samples:
    """Values between the rows by straight lines; grid points in a gap are left out."""
    time_s = np.asarray(rows["time_s"], float)
    grid = time_s[0] + period_s * np.arange(int((time_s[-1] - time_s[0]) / period_s + 1e-6) + 1)
    after = np.clip(np.searchsorted(time_s, grid), 1, len(rows) - 1)
    near = np.minimum(np.abs(grid - time_s[after - 1]), np.abs(time_s[after] - grid))
    within = time_s[after] - time_s[after - 1] <= GAP_PERIODS * period_s
    keep = within | (near <= 0.5 * period_s)
    out = empty(int(keep.sum()))
    out["time_s"] = grid[keep]
    for name in COLUMNS[1:-2]:
        out[name] = np.interp(grid[keep], time_s, rows[name])
    for name in CODES:
        out[name] = rows[name][after[keep]]
    return out

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
FAST = 1.5
"""Rows so many times as fast as the bench's are averaged."""
FEWEST = 64
"""Rows by which the rate is known."""
FINEST_HZ = 50_000.0
"""Bursts faster than twice this are averaged down to it: nothing that is looked for lies higher."""
GAP_PERIODS = 2.5
"""A longer step is a gap; a shorter one is a row missing or uneven time, and is bridged."""
EVEN = 0.05
"""Steps that differ by less than this share of their median are even."""
SHORTEST = 16
Floats = NDArray[np.float64]
CODES = COLUMNS[-2:]


class Grid:
    """Takes rows in blocks and keeps what is needed of them: means over 1 ms, and the current as captured."""

    def __init__(self) -> None:
        self._blocks: list[Samples] = []
        self._waiting = empty()
        self._fast: Fast | None = None
        self._period_s = self._start_s = 0.0
        self._done = 0

    def add(self, rows: Samples) -> None:
        """Take the next rows."""
        if not self._period_s:
            rows, self._waiting = np.concatenate([self._waiting, rows]), rows[:0]
            if len(rows) < FEWEST:
                self._waiting = rows
                return
            self._period_s = float(np.median(np.diff(rows["time_s"])))
            self._start_s = float(rows["time_s"][0])
            self._fast = Fast(self._period_s) if 1 / self._period_s >= FAST * TICK_HZ else None
        if self._fast is None:
            self._blocks.append(rows)
            return
        self._fast.add(rows)
        self._means(np.concatenate([self._waiting, rows]), last=False)

    def _means(self, rows: Samples, *, last: bool) -> None:
        """Average whole ticks; the rows from the row that reaches into the next tick on have to wait."""
        end_s = float(rows["time_s"][-1]) + (self._period_s if last else 0.0)
        whole = int((end_s - self._start_s) * TICK_HZ + 1e-6)
        if whole > self._done:
            ticks = self._start_s + np.arange(self._done, whole + 1) / TICK_HZ
            self._blocks.append(_averaged(rows, self._period_s, ticks))
            self._done = whole
            after = int(np.searchsorted(rows["time_s"], ticks[-1], side="right")) - 1
            rows = rows[max(after, 0) :]
        self._waiting = rows

    def finish(self) -> tuple[Samples, list[Burst]]:
        """Return rows no faster than the bench's, and the faster current in pieces without a gap."""
        if self._fast is None:
            rows = np.concatenate([*self._blocks, self._waiting])
            return at_tick_rate(rows), []
        self._means(self._waiting, last=True)
        return np.concatenate(self._blocks) if self._blocks else empty(), self._fast.finish()


def at_tick_rate(rows: Samples) -> Samples:
    """Return ``rows`` as means over 1 ms when they are faster, else on an even grid; gaps stay gaps."""
    if len(rows) < 3:
        return rows
    step_s = np.diff(rows["time_s"])
    period_s = float(np.median(step_s))
    if 1 / period_s >= FAST * TICK_HZ:
        whole = int((float(rows["time_s"][-1] - rows["time_s"][0]) + period_s) * TICK_HZ + 1e-6)
        return _averaged(rows, period_s, float(rows["time_s"][0]) + np.arange(whole + 1) / TICK_HZ)
    return rows if _even(step_s, period_s) else _gridded(rows, period_s)


def fast_current(rows: Samples) -> list[Burst]:
    """Return the current as captured, even in time; nothing when it is no faster than the bench's rows."""
    if len(rows) < SHORTEST:
        return []
    period_s = float(np.median(np.diff(rows["time_s"])))
    if 1 / period_s < FAST * TICK_HZ:
        return []
    fast = Fast(period_s)
    fast.add(rows)
    return fast.finish()


class Fast:
    """Keeps a current that is faster than the bench's rows, averaged down to :data:`FINEST_HZ` at least."""

    def __init__(self, period_s: float) -> None:
        self._period_s = period_s
        self._block = max(1, int(1 / period_s / FINEST_HZ * (1 + EVEN / 100)))
        self._pieces: list[list[tuple[Floats, Floats]]] = [[]]
        self._waiting: tuple[Floats, Floats] = (np.empty(0), np.empty(0))
        self._known = True

    def add(self, rows: Samples) -> None:
        """Take the next rows."""
        if not self._known or not np.isfinite(rows["current_a"]).all():
            self._known = False
            return
        time_s = np.append(self._waiting[0], rows["time_s"])
        current_a = np.append(self._waiting[1], rows["current_a"])
        cuts = np.flatnonzero(np.diff(time_s) > GAP_PERIODS * self._period_s) + 1
        pieces = list(zip(np.split(time_s, cuts), np.split(current_a, cuts), strict=True))
        for piece in pieces[:-1]:
            self._keep(*piece, ended=True)
            self._pieces.append([])
        self._keep(*pieces[-1], ended=False)

    def _keep(self, time_s: Floats, current_a: Floats, *, ended: bool) -> None:
        whole = len(time_s) // self._block * self._block
        if not ended and whole == len(time_s):
            whole = max(whole - self._block, 0)  # a gap may follow the last row: it waits
        if whole:
            shape = (-1, self._block)
            means = time_s[:whole].reshape(shape).mean(axis=1), current_a[:whole].reshape(shape).mean(axis=1)
            self._pieces[-1].append(means)
        self._waiting = (np.empty(0), np.empty(0)) if ended else (time_s[whole:], current_a[whole:])

    def finish(self) -> list[Burst]:
        """Return the pieces without a gap as bursts."""
        if not self._known:
            return []
        self._keep(*self._waiting, ended=True)
        found = [
            (np.concatenate([times for times, _ in piece]), np.concatenate([amps for _, amps in piece]))
            for piece in self._pieces
            if piece
        ]
        least = max(2, SHORTEST // self._block)
        return [_burst(times, amps) for times, amps in found if len(times) >= least]


def _burst(time_s: Floats, current_a: Floats) -> Burst:
    period_s = float(time_s[-1] - time_s[0]) / (len(time_s) - 1)
    if not _even(np.diff(time_s), period_s):
        current_a = np.interp(time_s[0] + period_s * np.arange(len(time_s)), time_s, current_a)
    return Burst("current", "A", 1 / period_s, float(time_s[0]), current_a, RECORDING)


def _even(step_s: Floats, period_s: float) -> bool:
    inside = step_s[step_s <= GAP_PERIODS * period_s]
    return bool(np.all(np.abs(inside - period_s) < EVEN * period_s))


def _averaged(rows: Samples, period_s: float, ticks: Floats) -> Samples:
    """Means over each tick, a row taken to hold until the next; ticks that lie in a gap are left out.

    ``ticks``: their edges in s.
    """
    time_s, tick_s, count = np.asarray(rows["time_s"], float), 1 / TICK_HZ, len(ticks) - 1
    edges = np.append(time_s, time_s[-1] + period_s)
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

"""A history that is drawn in milliseconds at any zoom: lowest, highest and mean, in ever coarser steps."""

from __future__ import annotations

import threading
from bisect import bisect_left, bisect_right
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FACTOR = 4
"""Buckets of one level that make one of the next."""
Array = NDArray[np.float64]


@dataclass(frozen=True)
class Stretch:
    """Buckets in order of time: when each begins (n,), and its lowest, highest and mean (channels, n)."""

    time_s: Array
    low: Array
    high: Array
    mean: Array

    def __len__(self) -> int:
        return len(self.time_s)


class Level:
    """A ring of buckets; ``count`` is how many there have ever been."""

    def __init__(self, channels: int, capacity: int) -> None:
        self.capacity = capacity
        self.count = 0
        self.time_s = np.zeros(capacity)
        self._values = np.zeros((3, channels, capacity), np.float32)

    @property
    def first(self) -> int:
        """Number of the oldest bucket that is kept."""
        return max(0, self.count - self.capacity)

    def append(self, part: Stretch) -> None:
        """Add buckets; the oldest make room."""
        places = np.arange(self.count, self.count + len(part)) % self.capacity
        self.time_s[places] = part.time_s
        self._values[:, :, places] = (part.low, part.high, part.mean)
        self.count += len(part)

    def take(self, start: int, end: int) -> Stretch:
        """Return the buckets with these numbers."""
        places = np.arange(max(start, self.first), end) % self.capacity
        low, high, mean = self._values[:, :, places].astype(float)
        return Stretch(self.time_s[places], low, high, mean)

    def place(self, time_s: float, *, after: bool = False) -> int:
        """Return the number of the first bucket that begins at ``time_s`` or later; ``after``: later."""
        find = bisect_right if after else bisect_left
        numbers = range(self.first, self.count)
        return self.first + find(numbers, time_s, key=lambda i: self.time_s[i % self.capacity])


class Pyramid:
    """Keeps the newest ``capacity`` buckets of ``channels``; one thread appends, others read."""

    def __init__(self, channels: int, capacity: int) -> None:
        self._lock = threading.Lock()
        self.levels = [Level(channels, max(capacity, FACTOR))]
        while self.levels[-1].capacity > FACTOR**3:
            self.levels.append(Level(channels, -(-self.levels[-1].capacity // FACTOR)))

    def append(self, part: Stretch) -> None:
        """Add buckets, at most as many as the pyramid keeps; their times never go backwards."""
        with self._lock:
            self.levels[0].append(part)
            for fine, coarse in zip(self.levels, self.levels[1:], strict=False):
                start, end = coarse.count * FACTOR, fine.count // FACTOR * FACTOR
                if end > start:
                    coarse.append(_coarser(fine.take(start, end)))

    @property
    def extent(self) -> tuple[float, float] | None:
        """Where the oldest and the newest bucket begin, seconds; None while there is none."""
        base = self.levels[0]
        if not base.count:
            return None
        oldest, newest = (
            base.time_s[base.first % base.capacity],
            base.time_s[(base.count - 1) % base.capacity],
        )
        return float(oldest), float(newest)

    def stretch(self, start_s: float, end_s: float, points: int) -> Stretch:
        """Return ``start_s`` to ``end_s`` in at most about ``points`` buckets, no value of any row lost.

        The bucket around each end is there as well, so that lines reach the edges of a window.
        """
        with self._lock:
            for depth, level in enumerate(self.levels):
                low = max(level.first, level.place(start_s, after=True) - 1)
                high = level.place(end_s, after=True)
                if high - low <= points or depth == len(self.levels) - 1:
                    break
            parts = [level.take(low, min(high + 1, level.count))]
            if high >= level.count:  # what has not yet filled a bucket of this level is in finer ones
                done = level.count
                for finer in reversed(self.levels[:depth]):
                    done *= FACTOR
                    last = min(finer.place(end_s, after=True) + 1, finer.count)
                    parts.append(finer.take(done, max(done, last)))
                    done = finer.count
        return _joined(parts)

    def base(self, start_s: float, end_s: float) -> Stretch:
        """Return the finest buckets that begin from ``start_s`` to ``end_s``, both included."""
        with self._lock:
            level = self.levels[0]
            return level.take(level.place(start_s), level.place(end_s, after=True))


def of_rows(time_s: Array, values: Array) -> Pyramid:
    """Return the pyramid of single rows: times (n,), values (channels, n)."""
    pyramid = Pyramid(len(values), max(len(time_s), 1))
    if len(time_s):
        pyramid.append(Stretch(time_s, values, values, values))
    return pyramid


def buckets(time_s: Array, values: Array, rows: int) -> Stretch:
    """Return rows, a whole number of times ``rows`` of them, as buckets."""
    groups = values.reshape(len(values), -1, rows)
    return Stretch(time_s[::rows], groups.min(2), groups.max(2), groups.mean(2))


def _coarser(part: Stretch) -> Stretch:
    shape = (len(part.low), -1, FACTOR)
    return Stretch(
        part.time_s[::FACTOR],
        np.fmin.reduce(part.low.reshape(shape), axis=2),  # a gap hides nothing
        np.fmax.reduce(part.high.reshape(shape), axis=2),
        part.mean.reshape(shape).mean(2),
    )


def _joined(parts: list[Stretch]) -> Stretch:
    return Stretch(
        np.concatenate([part.time_s for part in parts]),
        *(
            np.concatenate([getattr(part, name) for part in parts], axis=1)
            for name in ("low", "high", "mean")
        ),
    )

"""The last minute of eight channels, thinned to the lowest and highest value of each 50 ms, for charts."""

from __future__ import annotations

import math
import threading
import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from strokebench.data.samples import Samples

CHANNELS = (
    "drive", "current_a", "supply_v", "output_a_v", "output_b_v", "sensor_a_v", "sensor_b_v", "heatsink_c",
)  # fmt: skip
READINGS = (*CHANNELS, "part_c")
BUCKET_ROWS = 50
KEPT_S = 60
JUMP_S = 0.25
"""Where the bench's time strays this far from ours, the time axis is set anew."""
_DIGITS = (4, 3, 3, 3, 3, 4, 4, 2, 2)


@dataclass(frozen=True)
class Bucket:
    """50 rows: lowest, highest and mean by channel, in the units of the names; ``time_s`` since the start."""

    number: int
    time_s: float
    low: list[float | None]
    high: list[float | None]
    mean: list[float | None]


class Strip:
    """A ring of :class:`Bucket`; one thread appends, others read."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._lock = threading.Lock()
        self._kept: deque[Bucket] = deque(maxlen=KEPT_S * 1000 // BUCKET_ROWS)
        self._pending: list[Samples] = []
        self._count = 0
        self._began_s = clock()
        self._offset_s = math.nan
        self._last_s = 0.0
        self.number = 0

    def append(self, rows: Samples) -> None:
        """Take rows of any time base; where two bases meet, the axis goes on with the clock."""
        if not len(rows):
            return
        self._pending.append(rows)
        self._count += len(rows)
        if self._count < BUCKET_ROWS:
            return
        together = np.concatenate(self._pending)
        whole = len(together) // BUCKET_ROWS * BUCKET_ROWS
        for start in range(0, whole, BUCKET_ROWS):
            self._put(together[start : start + BUCKET_ROWS])
        self._pending = [together[whole:]]
        self._count = len(together) - whole

    def _put(self, rows: Samples) -> None:
        now_s = self._clock() - self._began_s
        time_s = float(rows["time_s"][-1]) + self._offset_s
        if not abs(time_s - now_s) <= JUMP_S:
            self._offset_s = now_s - float(rows["time_s"][-1])
            time_s = now_s
        time_s = self._last_s = max(time_s, self._last_s)  # a chart's time never runs backwards
        values = np.stack([rows[name] for name in READINGS])
        with self._lock:
            self.number += 1
            numbers = (_rounded(values.min(1)), _rounded(values.max(1)), _rounded(values.mean(1)))
            self._kept.append(Bucket(self.number, round(time_s, 3), *numbers))

    def since(self, number: int, most: int = KEPT_S * 1000 // BUCKET_ROWS) -> list[Bucket]:
        """Return the buckets after ``number``, oldest first, the newest ``most`` of them."""
        with self._lock:
            wanted = min(self.number - number, len(self._kept), most)
            return [self._kept[i] for i in range(len(self._kept) - wanted, len(self._kept))]

    def latest(self) -> Bucket | None:
        """Return the newest bucket."""
        with self._lock:
            return self._kept[-1] if self._kept else None


def _rounded(values: NDArray[np.float64]) -> list[float | None]:
    pairs = zip(values.tolist(), _DIGITS, strict=True)
    return [round(value, digits) if math.isfinite(value) else None for value, digits in pairs]

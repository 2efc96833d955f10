"""The last minute of eight channels, each 50 ms as its lowest and highest value, and the last hour."""

from __future__ import annotations

import math
import threading
import time
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from strokebench.data.run import Mark
from strokebench.data.samples import TICK_S, Samples
from strokebench.panel.instrument.pyramid import Pyramid, buckets

CHANNELS = (
    "drive", "current_a", "supply_v", "output_a_v", "output_b_v", "sensor_a_v", "sensor_b_v", "heatsink_c",
)  # fmt: skip
READINGS = (*CHANNELS, "part_c")
BUCKET_ROWS = 50
KEPT_S = 60
FINE_ROWS = 25
"""Rows of a bucket of the last hour."""
HISTORY_S = 3600
RUNS_KEPT = 64
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
        self._last_s = self._fine_s = 0.0
        self.number = 0
        self.history = Pyramid(len(CHANNELS), int(HISTORY_S / (FINE_ROWS * TICK_S)))
        self._marks: dict[int, list[tuple[str, float, float | None]]] = {}
        self._begins: dict[int, float] = {}

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
        ends_s = time_s + TICK_S * np.arange(1 - len(rows), 1)
        self.history.append(buckets(np.maximum(ends_s, self._fine_s), values[: len(CHANNELS)], FINE_ROWS))
        self._fine_s = time_s

    def mark(self, run_id: int, marks: Sequence[Mark]) -> None:
        """Note the segments of a run so far, in the run's own time; those of the last runs are kept."""
        offset_s = 0.0 if math.isnan(self._offset_s) else self._offset_s
        placed = [
            (m.label, m.start_s + offset_s, None if math.isnan(m.end_s) else m.end_s + offset_s)
            for m in marks
        ]
        with self._lock:
            self._marks.pop(run_id, None)
            self._marks[run_id] = placed
            self._begins[run_id] = offset_s
            while len(self._marks) > RUNS_KEPT:
                oldest = next(iter(self._marks))
                del self._marks[oldest], self._begins[oldest]

    def begins(self, run_id: int) -> float | None:
        """Return where a run begins on the axis of the charts, s; None for one that is not there."""
        return self._begins.get(run_id)

    def segments(self) -> list[tuple[str, float, float | None]]:
        """Return the last runs' segments on the axis of the charts: label, begin, end (None: it runs)."""
        with self._lock:
            return [segment for placed in self._marks.values() for segment in placed]

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

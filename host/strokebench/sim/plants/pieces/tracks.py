"""A potentiometer track as a table over the position: slope, linearity, wear, and the ways it fails."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

NOISE_BLOCK = 8192


@dataclass(frozen=True)
class TrackShape:
    """Output as a share of the feed at closed and open, and errors of an ordinary part."""

    closed: float
    open: float
    linearity: float = 0.003  # standard size of smooth errors, share of span
    spread: float = 0.004  # standard size of end errors, share of feed
    noise_v: float = 0.0008


class Track:
    """One track on the grid of a positioner: ``share`` is the share of travel at each grid point.

    ``wear``/``wear_place``: where the wiper has worn the track it loses contact; the reading there falls
    towards ground by up to ``wear`` of its value, differently at each spot and a little differently each
    time. ``stuck_share``: the output stands at this share of the feed whatever the position (0 broken wire, 1
    shorted).
    """

    def __init__(
        self,
        shape: TrackShape,
        share: NDArray[np.float64],
        rng: np.random.Generator,
        wear: float = 0.0,
        wear_place: float = 0.3,
        stuck_share: float | None = None,
    ) -> None:
        low, high = np.array((shape.closed, shape.open)) + rng.normal(0, shape.spread, 2)
        phase = rng.uniform(0, 2 * np.pi, 3)
        size = rng.normal(0, shape.linearity, 3) / np.arange(1, 4)
        bow = sum(
            a * np.sin(np.pi * (n + 1) * share + p) for n, (a, p) in enumerate(zip(size, phase, strict=True))
        )
        values = low + (high - low) * (share + bow)
        self._noise = (rng.normal(0, shape.noise_v, NOISE_BLOCK)).tolist()
        self._turn = 0
        self._lost: list[float] | None = None
        if wear:
            zone = np.exp(-0.5 * ((share - wear_place) / 0.02) ** 4)
            self._lost = (wear * zone * rng.beta(0.6, 1.2, len(share))).tolist()
            self._chatter = rng.uniform(0.3, 1.0, NOISE_BLOCK).tolist()
        if stuck_share is not None:
            values = np.full_like(share, stuck_share)
        self._values = values.tolist()

    def read_v(self, place: float, feed_v: float) -> float:
        """Return the output in V at ``place`` in cells of the grid (0 <= place < last)."""
        cell = int(place)
        low = self._values[cell]
        volts = feed_v * (low + (place - cell) * (self._values[cell + 1] - low))
        self._turn = turn = (self._turn + 1) % NOISE_BLOCK
        if self._lost is not None:
            volts *= 1.0 - self._lost[cell] * self._chatter[turn]
        return volts + self._noise[turn]  # type: ignore[no-any-return]

"""Position sensors: a Hall sensor behind a magnet, or a track whose wiper loses contact for a while.

Both are ratiometric. A Hall sensor's output is clamped near its rails, in steps of its converter, late by its
own filter, with hysteresis and the error twice a turn that a magnet out of the middle makes (datasheets of
such sensors, from memory: 12 bit, clamps at 2 to 5 and 95 to 98 %, some 0.5 ms, 0.1 to 0.3 %).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from math import exp, pi, sin

import numpy as np

from strokebench.sim.faults import Fault

BLOCK = 8191


@dataclass(frozen=True)
class Span:
    """Output as a share of the feed at closed and open."""

    closed: float
    open: float
    spread: float = 0.004


@dataclass(frozen=True)
class Errors:
    """Of one specimen, as shares of its span unless the name says otherwise."""

    once: float
    twice: float
    phase: float
    hysteresis: float
    late_s: float
    step_share: float  # of the feed
    low_share: float
    high_share: float
    noise_v: float


class Sensor:
    """One output. ``stuck_share``: it stands there; ``lost``: how much of it may be lost around ``place``."""

    def __init__(
        self, span: Span, errors: Errors, rng: np.random.Generator, lost: float = 0.0, place: float = 0.3,
        stuck_share: float | None = None,
    ) -> None:  # fmt: skip
        self._low, self._high = (
            float(v) for v in np.array((span.closed, span.open)) + rng.normal(0, span.spread, 2)
        )
        self.errors, self._stuck = errors, -1.0 if stuck_share is None else stuck_share
        self._noise: list[float] = rng.normal(0, errors.noise_v, BLOCK).tolist()
        self._contact: list[float] = (rng.random(BLOCK) ** 0.7).tolist()
        self._held: list[float] = rng.uniform(2, 9, BLOCK).tolist()
        self._turn, self._left, self._now_lost = 0, 0, 0.0
        self._lost, self._place = lost, place
        self._seen = self._share = 0.0

    def share_at(self, position: float) -> float:
        """Return the output as a share of the feed at rest at a place, without clamps, steps and noise."""
        if self._stuck >= 0.0:
            return self._stuck
        turn = pi * position + self.errors.phase
        bow = self.errors.once * sin(turn) + self.errors.twice * sin(2 * turn)
        return self._low + (self._high - self._low) * (position + bow)

    def read_v(self, position: float, feed_v: float, dt_s: float) -> float:
        """Return the output in V after ``dt_s`` at ``position`` (share of travel)."""
        errors = self.errors
        self._seen = min(
            max(self._seen, position - 0.5 * errors.hysteresis), position + 0.5 * errors.hysteresis
        )
        seen = self._seen
        want = self.share_at(seen)
        share = want if dt_s == 0.0 else want + (self._share - want) * exp(-dt_s / errors.late_s)
        self._share = share
        if self._stuck < 0.0:
            share = min(max(share, errors.low_share), errors.high_share)
        if errors.step_share > 0.0:
            share = int(share / errors.step_share + 0.5) * errors.step_share
        self._turn = turn = (self._turn + 1) % BLOCK
        if self._lost > 0.0:
            share *= 1.0 - self._gone(seen, turn)
        return feed_v * share + self._noise[turn]

    def _gone(self, seen: float, turn: int) -> float:
        """Share of the signal that is lost now: at the worn place, for some ticks at a time."""
        away = (seen - self._place) / 0.022
        near = exp(-away * away * away * away)
        if self._left == 0:
            self._left, self._now_lost = int(self._held[turn]), self._contact[turn]
        self._left -= 1
        return float(self._lost * near * self._now_lost)


def hall(rng: np.random.Generator) -> Errors:
    """Return the errors of an ordinary Hall sensor."""
    return Errors(
        once=float(rng.normal(0, 0.003)), twice=float(rng.normal(0, 0.0025)), phase=float(rng.uniform(0, pi)),
        hysteresis=float(rng.uniform(0.0005, 0.003)), late_s=float(rng.uniform(0.2e-3, 0.8e-3)),
        step_share=1 / 4096, low_share=float(rng.uniform(0.02, 0.05)),
        high_share=float(rng.uniform(0.95, 0.98)),
        noise_v=float(rng.uniform(0.0006, 0.002)),
    )  # fmt: skip


def wiper(rng: np.random.Generator) -> Errors:
    """Return the errors of an ordinary resistive track; its wiper has play."""
    return Errors(
        once=float(rng.normal(0, 0.003)), twice=float(rng.normal(0, 0.002)), phase=float(rng.uniform(0, pi)),
        hysteresis=float(rng.uniform(0.0, 0.002)), late_s=0.05e-3, step_share=0.0, low_share=0.0,
        high_share=1.0,
        noise_v=float(rng.uniform(0.0004, 0.0012)),
    )  # fmt: skip


def outputs(spans: tuple[Span, ...], faults: Iterable[Fault], seed: int) -> list[Sensor]:
    """Return the outputs of a specimen: Hall in one half of them, else tracks; a worn one is a track."""
    faults = list(faults)
    rng = np.random.default_rng((seed, 13))
    worn = next((fault for fault in faults if fault.name == "worn_track"), None)
    magnetic = bool(rng.random() < 0.5) and worn is None
    errors = hall(rng) if magnetic else None
    made = []
    for index, span in enumerate(spans):
        own = np.random.default_rng((seed, 14 + index))
        stuck = None
        for fault in faults:
            if fault.name in ("track_dead", "track_shorted") and fault.place == "ab"[index]:
                stuck = 0.0 if fault.name == "track_dead" else 1.0
        lost, place = (worn.size, float(worn.place)) if worn and index == 0 else (0.0, 0.3)
        made.append(Sensor(span, errors or wiper(own), own, lost, place, stuck))
    return made

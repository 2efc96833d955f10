"""A case of a part that one spring shuts onto a seat: an EGR valve, by motor or by coil."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import ClassVar

import numpy as np

from strokebench.diagnose import labels
from strokebench.diagnose.moving.case import MovingCase
from strokebench.diagnose.stats import Floats

SEAT_PERCENT = 7.0
"""Closer to the seat than this, what holds the valve is put down to the seat and not to a place on its
way."""


@dataclass(frozen=True)
class SeatedCase(MovingCase):
    """Like a moving part, but rest is the seat and there is no closing side.

    The slow sweeps turn round before the seat (a watch on the sensor), so that sticking there does not hide
    what friction is elsewhere; leaving the seat is a stretch of its own. ``presses``: the drive can push it
    shut."""

    two_sided: ClassVar[bool] = False
    leaves_rest: ClassVar[str] = labels.SEAT_OPEN
    presses: ClassVar[bool] = True

    @cached_property
    def rest_percent(self) -> float:
        """The seat, where the valve stands pressed shut, % of travel; NaN if unknown."""
        if self.position is None:
            return math.nan
        closed_v = self.tracks[self.position.track].closed_v
        if self.by_samples and not math.isfinite(closed_v):  # never pressed shut: where its spring puts it
            seen = np.concatenate([self.settled(label) for label in (labels.REST, labels.RELEASE_OPEN)])
            return float(np.median(seen)) if len(seen) else math.nan
        return 0.0 if self.position.stops_found else self.nominal_percent(closed_v)

    @property
    def seat_percent(self) -> float:
        """How much of the travel belongs to the seat."""
        return SEAT_PERCENT

    def nominal_percent(self, volts: float) -> float:
        """Sensor volts as % of the nominal travel; needs a position."""
        assert self.position is not None
        track = self.tracks[self.position.track]
        return (volts - track.layout.closed_v) / track.nominal_span_v * 100

    def settled_v(self, label: str) -> Floats:
        """Where the sensor came to rest, volts, one value per stretch called ``label``; needs a position."""
        assert self.position is not None
        track = self.tracks[self.position.track]
        ends = (
            track.clean[self.window(0.7 * mark.end_s + 0.3 * mark.start_s, mark.end_s)]
            for mark in self.stretches(label)
            if mark.end_s - mark.start_s > 0.1
        )
        return np.array([float(np.median(volts)) for volts in ends if len(volts)])

    def sweep_reach(self, direction: int) -> float:
        """The way back ends before the seat on purpose, or on what lies there."""
        return 96.0 if direction > 0 else 80.0 - max(self.rest_percent, 0.0)

    def side(
        self, opening: bool, margin: float = 2.0, stop: float = 3.0
    ) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
        """Mask over GRID as for any moving part, away from the seat by 7 % of travel at least."""
        return super().side(opening, max(margin, SEAT_PERCENT), stop)

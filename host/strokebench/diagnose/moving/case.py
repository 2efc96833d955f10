"""A case of a part that moves and tells where it is: tracks, position and sweeps, each worked out once."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from strokebench.data.run import Mark
from strokebench.diagnose import labels
from strokebench.diagnose.case import Case
from strokebench.diagnose.moving.position import Position, read_position
from strokebench.diagnose.moving.sweeps import GRID, Sweeps, neutral, read_sweeps
from strokebench.diagnose.moving.tracks import OPEN_ENDS, Track, read_tracks
from strokebench.diagnose.stats import Floats

SETTLED_SHARE = 0.3
"""The last share of a release in which the part is taken to rest."""


@dataclass(frozen=True)
class MovingCase(Case):
    """Run, profile, and what all finders of a part with a position sensor share.

    ``two_sided``: springs push to rest from both sides. ``leaves_rest``: label of the slow stretches that
    start at rest and open.
    """

    derived: ClassVar[Mapping[str, tuple[str, ...]]] = {"sweeps": ("current", "drive", "sensor")}
    two_sided: ClassVar[bool] = True
    leaves_rest: ClassVar[str] = labels.SWEEP_OPEN

    WHY_NOT_OPEN: ClassVar[str] = "the run ended before the part was pushed open"

    @property
    def pushed_open(self) -> bool:
        """False for a part that rests between its ends and was never driven open: it had no way to go."""
        return not self.two_sided or any(True for label in OPEN_ENDS for _ in self.run.labelled(label))

    @cached_property
    def tracks(self) -> dict[str, Track]:
        """Sensor tracks by name."""
        return read_tracks(self)

    @cached_property
    def position(self) -> Position | None:
        """Position over the whole run, None when no track follows the motion."""
        return read_position(self.tracks)

    @cached_property
    def sweeps(self) -> Sweeps:
        """Slow sweeps over the whole travel."""
        return read_sweeps(self, self.position)

    @cached_property
    def swept_cells(self) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """Samples of the slow sweeps sorted by their place on GRID: indices, and where each place begins in
        them (len(GRID) + 1 edges)."""
        if self.position is None or not self.sweeps.passes:
            return np.empty(0, np.intp), np.zeros(len(GRID) + 1, np.intp)
        spans = (self.window(sweep.start_s, sweep.end_s) for sweep in self.sweeps.passes)
        index = np.concatenate([np.arange(span.start, span.stop) for span in spans])
        # 16 bits: numpy then sorts by radix, in linear time
        cell = np.round((self.position.percent[index] - GRID[0]) / (GRID[1] - GRID[0]))
        cell = np.clip(cell, -1, len(GRID)).astype(np.int16)
        order = np.argsort(cell, kind="stable")
        return index[order], np.searchsorted(cell[order], np.arange(len(GRID) + 1))

    def percent(self, mark: Mark) -> Floats:
        """Position in % of travel during a stretch; empty without a position."""
        if self.position is None:
            return np.empty(0)
        return self.position.percent[self.window(mark.start_s, mark.end_s)]

    def settled(self, label: str) -> Floats:
        """Where the part came to rest in % of travel, one value per stretch called ``label``."""
        values = []
        for mark in self.stretches(label):
            where = self.percent(mark)
            if len(where) >= 50:
                values.append(float(np.median(where[-int(len(where) * SETTLED_SHARE) :])))
        return np.array(values)

    @cached_property
    def rest_percent(self) -> float:
        """Where the part would rest without friction, % of travel: from the sweeps where they show it, else
        the median of where it did come to rest; NaN if unknown."""
        place = neutral(self.sweeps)
        if math.isfinite(place):
            return place
        known = [self.settled(label) for label in (labels.REST, labels.RELEASE_OPEN, labels.RELEASE_CLOSE)]
        together = np.concatenate(known)
        return float(np.median(together)) if together.size else math.nan

    def side(
        self, opening: bool, margin: float = 2.0, stop: float = 3.0
    ) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
        """Mask over GRID: places on the opening or the closing side of rest, ``margin`` away from it and
        ``stop`` % away from the end stop."""
        rest = self.rest_percent
        if not math.isfinite(rest):
            rest = -100.0
        if opening:
            return np.asarray((rest + margin < GRID) & (100 - stop > GRID))
        return np.asarray((rest - margin > GRID) & (stop <= GRID))

    def sweep_reach(self, direction: int) -> float:
        """How much of the travel, in %, a slow sweep covers at least that is not held up."""
        return 96.0

    @property
    def why_no_position(self) -> str:
        """A sentence for findings that need a position."""
        if self.drives_current is False:
            return "no current flowed, so nothing moved"
        return "no sensor track followed the motion, so the position is unknown"

    @cached_property
    def drives_current(self) -> bool:
        """True when the part takes at least 0.2 A somewhere while it is driven hard, or anywhere when the
        drive is not known."""
        samples = self.run.samples
        known = np.isfinite(samples["drive"]).any()
        hard = np.abs(samples["drive"]) > 0.3 if known else np.isfinite(samples["current_a"])
        if hard.sum() < 20:
            return False
        return float(np.percentile(np.abs(samples["current_a"][hard]), 90)) > 0.2

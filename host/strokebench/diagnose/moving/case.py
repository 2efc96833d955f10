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
from strokebench.diagnose.case import Case, load_voltage
from strokebench.diagnose.moving.fit.mover import Mover, fit_mover
from strokebench.diagnose.moving.fit.torque import ONCE, REPEATED, Torque
from strokebench.diagnose.moving.polarity import wrong_way
from strokebench.diagnose.moving.position import Position, read_position
from strokebench.diagnose.moving.stops import CLOSED_ENDS, OPEN_ENDS
from strokebench.diagnose.moving.sweeps import GRID, Sweeps, neutral, read_sweeps
from strokebench.diagnose.moving.tracks import Track, read_tracks
from strokebench.diagnose.stats import Floats
from strokebench.diagnose.winding import Loop, fit_loop, stalls, temperature

RIPPLE_SHARE = 1 / 16
"""Of the fine range: peak over mean at most, by which a mean current stays within it."""
USUAL = 90
"""Percentile of a run's currents; a fine range below half of that says too little of the part."""
BEYOND_REST, BEFORE_STOP = 4.0, 97.0
"""% of travel: from so much beyond rest up to here friction and spring of the opening side are told."""
LEAST_ROWS, LEAST_ROWS_FOUND = 500, 100
COASTS_A = 0.05
"""A part that moves with less current than this is not driven."""
CLAMP_ZERO_U_A = 0.01
"""Standard uncertainty by which a clamp's zero wanders while a part is moved (judgement)."""
SETTLED_SHARE = 0.3
"""The last share of a release in which the part is taken to rest."""


@dataclass(frozen=True)
class MovingCase(Case):
    """Run, profile, and what all finders of a part with a position sensor share.

    ``by_motor``: a motor moves it, whose torque goes with the current. ``two_sided``: springs push to rest
    from both sides. ``leaves_rest``: label of the slow stretches that start at rest and open.
    """

    derived: ClassVar[Mapping[str, tuple[str, ...]]] = {"sweeps": ("current", "sensor")}
    two_sided: ClassVar[bool] = True
    by_motor: ClassVar[bool] = True
    leaves_rest: ClassVar[str] = labels.SWEEP_OPEN

    WHY_NOT_OPEN: ClassVar[str] = "the run ended before the part was pushed open"

    @property
    def both_stops(self) -> bool:
        """False for somebody else's recording in which it was not pressed against both stops."""
        if not self.by_samples:
            return True
        kinds = {mark.label for mark in self.run.marks if mark.kind == labels.FOUND}
        return bool(kinds & {*OPEN_ENDS}) and bool(kinds & {*CLOSED_ENDS})

    @property
    def pushed_open(self) -> bool:
        """False for a part that rests between its ends and was never driven open: it had no way to go."""
        if not self.two_sided or self.by_samples:  # there how hard it was pushed is looked at instead
            return True
        return any(True for label in OPEN_ENDS for _ in self.run.labelled(label))

    @cached_property
    def wrong_way(self) -> str:
        """What is wired the wrong way round."""
        return wrong_way(self)

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
    def usual_a(self) -> float:
        """Magnitude that a tenth of the run's currents exceed, amperes; 0 without any."""
        current_a = np.abs(self.run.samples["current_a"])
        known = current_a[np.isfinite(current_a)]
        return float(np.percentile(known, USUAL)) if len(known) else 0.0

    @property
    def largest_a(self) -> float:
        """Up to where currents take part in the balance of volts: within the fine range, all where it is too
        short for this part, and all of somebody else's recording.
        """
        if self.by_samples:
            return math.inf
        fine_a = self.budget.fine_limit_a * (1 - RIPPLE_SHARE)
        return fine_a if 2 * fine_a >= self.usual_a else math.inf

    @property
    def bent_a(self) -> float:
        """Curvature of the range that reads the part's usual currents, standard uncertainty in amperes."""
        return self.budget.channel_of("current_a", self.usual_a).linearity

    @property
    def u_zero_a(self) -> float:
        """As of every case, of whichever range reads the part's usual currents; a clamp's zero wanders."""
        if self.by_samples:
            return math.hypot(self.accuracy("current_a", "offset"), CLAMP_ZERO_U_A)
        known_a = super().u_zero_a
        return known_a if math.isfinite(self.largest_a) else math.hypot(known_a, self.bent_a)

    @cached_property
    def fit(self) -> Mover | None:
        """Balance of volts and of torques over the whole run; None without position, current or a place of
        rest."""
        return self._fitted(self.rest_percent) if math.isfinite(self.rest_percent) else None

    def _fitted(self, rest: float | None) -> Mover | None:
        current_a = np.asarray(self.run.samples["current_a"], float) - self.zero_a
        least = LEAST_ROWS_FOUND if self.by_samples else LEAST_ROWS
        known = self.by_motor and np.isfinite(current_a).all() and len(current_a) >= least
        if self.position is None or not known:
            return None
        return fit_mover(
            self.time_s, load_voltage(self.run.samples), current_a, self.position.raw,
            rest=rest, seat=self.seat_percent, largest_a=self.largest_a,
            passes=ONCE if self.by_samples and self.sweeps.pairs < 3 else REPEATED,
        )  # fmt: skip

    @property
    def torque(self) -> Torque | None:
        """The fitted balance of torques, None without one, and of a part that was driven one way only: that
        does not part spring from friction."""
        if self.fit is None or (self.by_samples and not self.driven_both_ways):
            return None
        return self.fit.torque

    @property
    def driven_both_ways(self) -> bool:
        """True when it moved both ways on the opening side while current flowed."""
        assert self.fit is not None  # asked for only with a fit
        signals, (low, high) = self.fit.signals, self.opening_side
        driven = signals.moving & (np.abs(signals.current_a) > COASTS_A)
        driven &= (signals.percent > low) & (signals.percent < high)
        ways = [int((driven & (signals.speed * way > 0)).sum()) for way in (1, -1)]
        return min(ways) >= ONCE.fewest / 2

    @property
    def opening_side(self) -> tuple[float, float]:
        """Places between which friction and spring are told, % of travel: away from rest and from the
        stop."""
        return self.rest_percent + max(BEYOND_REST, self.seat_percent), BEFORE_STOP

    @property
    def moved_s(self) -> tuple[float, float] | None:
        """From the first to the last motion that was fitted, seconds; the slow sweeps without a fit."""
        if self.fit is None or not self.fit.signals.moving.any():
            return self.sweeps.span_s
        moved = self.fit.signals.time_s[self.fit.signals.moving]
        return float(moved[0]), float(moved[-1])

    @property
    def seat_percent(self) -> float:
        """How much of the travel next to rest belongs to a seat; 0 without one."""
        return 0.0

    @cached_property
    def loop(self) -> Loop | str:
        """Resistance of winding and leads from the fit, else from the holds alone; or why it is not known."""
        electric = self.fit.electric if self.fit is not None else None
        if electric is None or not electric.well_known:
            return fit_loop(self)
        ohm, u_ohm = electric.ohm
        gain = math.hypot(self.accuracy("current_a", "gain"), self.accuracy("output_a_v", "gain"))
        start_c, u_start_c = temperature(self, float(self.time_s[0]))
        bent = 0.0 if math.isfinite(self.largest_a) else self.bent_a / electric.largest_a
        return Loop(
            ohm, math.hypot(u_ohm, gain * ohm, bent * ohm), electric.drop_v(electric.largest_a)[0],
            max(electric.per_a2s, 0.0), start_c, u_start_c, len(stalls(self)),
        )  # fmt: skip

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
        the median of where it did come to rest, else by the fit; NaN if unknown."""
        place = neutral(self.sweeps)
        if math.isfinite(place):
            return place
        known = [self.settled(label) for label in (labels.REST, labels.RELEASE_OPEN, labels.RELEASE_CLOSE)]
        together = np.concatenate(known)
        if together.size:
            return float(np.median(together))
        fit = self._fitted(None)
        return fit.rest if fit is not None and fit.torque is not None else math.nan

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

"""A case of a small motor without a sensor, run from stop to stop: where it is, from the back-EMF.

While the motor turns it gives a voltage in proportion to its speed, e = V - R i - brush drop; the integral
of that is the way it went. At a stop the speed ends and the current rises to V / R. R is taken from the end
of the same stroke, so warmth cancels. Position is the share of a stroke's own way."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import ClassVar

import numpy as np

from strokebench.data.run import Mark
from strokebench.diagnose import labels
from strokebench.diagnose.case import Case, load_voltage
from strokebench.diagnose.moving import ripple
from strokebench.diagnose.moving.case import BEFORE_STOP, MovingCase
from strokebench.diagnose.moving.fit.mover import Mover
from strokebench.diagnose.moving.position import Position
from strokebench.diagnose.moving.sweeps import GRID, Sweep, Sweeps, crossing
from strokebench.diagnose.stats import Floats, moving_mean
from strokebench.diagnose.winding import BRUSHES_U_V, HELD, Loop, fit_loop, temperature

TAIL = 40
"""Samples at a stroke's end in which it stands at the stop."""
TURNING_V = 0.2
"""Back-EMF above which the motor is taken to turn: what noise and resistance leave is ten times smaller."""
SMOOTH = 5
TURNED_UP_V, WARMS = 2.0, 0.01
"""Volts by which holds must differ to part resistance from brush drop; relative, what they warm it by."""
REBOUNDS = 30
"""Samples after the last turning forwards in which it may spring back from the stop and settle."""
ENDS_PERCENT = 6.0
PLACE_U = 0.7
"""Standard uncertainty of a position in % of travel: drift of R i, start and end by a threshold
(judgement)."""


def turned_up(case: Case) -> Loop | None:
    """Resistance and brush drop where somebody turned the volts up while it stood; None where nobody did."""
    stands = (mark for label in HELD for mark in case.stretches(label))
    holds = [rows for mark in stands if len(rows := case.of(mark)[REBOUNDS:]) >= TAIL]
    if not holds:
        return None
    volts = np.concatenate([load_voltage(rows) for rows in holds])
    amps = np.concatenate([rows["current_a"] for rows in holds]) - case.zero_a
    if float(np.ptp(np.abs(volts))) < TURNED_UP_V:
        return None
    # the current as it follows the volts: its noise, taken for a cause, would make the slope too small
    design = np.column_stack((volts, np.sign(volts)))
    per_volt, at_none = (float(term) for term in np.linalg.lstsq(design, amps, rcond=None)[0])
    ohm, brush_v = 1 / per_volt, -at_none / per_volt
    gain = math.hypot(case.accuracy("current_a", "gain"), case.accuracy("output_a_v", "gain"), WARMS)
    start_c, u_c = temperature(case, float(holds[0]["time_s"][0]))
    return Loop(ohm, gain * ohm, brush_v, 0.0, start_c, u_c, len(holds))


@dataclass(frozen=True)
class Stroke:
    """One run from stop to stop: ``emf_v`` along its direction, ``way_vs`` its integral so far (V s).

    ``start`` and ``end`` are indices into these: where it began and ended to turn; equal when it never did.
    """

    direction: int
    mark: Mark
    emf_v: Floats
    way_vs: Floats
    current_a: Floats
    start: int
    end: int

    @property
    def total_vs(self) -> float:
        """The whole way in V s."""
        return float(self.way_vs[-1])

    @property
    def time_s(self) -> float:
        """Seconds from the first to the last motion (samples are a millisecond apart)."""
        return (self.end - self.start) * 1e-3


@dataclass(frozen=True)
class SensorlessCase(MovingCase):
    """Position, sweeps and friction from current and voltage alone."""

    derived: ClassVar[Mapping[str, tuple[str, ...]]] = {"sweeps": ("current", "volts")}
    two_sided: ClassVar[bool] = False

    @cached_property
    def brush_v(self) -> float:
        """Constant drop in brushes and contacts, volts."""
        loop = self.loop
        return 0.0 if isinstance(loop, str) else loop.brush_v

    @cached_property
    def u_brush_v(self) -> float:
        """Its standard uncertainty where a single hold leaves it to common practice, volts; else 0."""
        loop = self.loop
        return BRUSHES_U_V if self.by_samples and not isinstance(loop, str) and loop.levels == 1 else 0.0

    @cached_property
    def henry(self) -> float:
        """Inductance as the PWM's ripple shows it, H; 0 without a burst. A reversal puts 1 % of
        a stroke's V s across it."""
        found = ripple.find(self)[0]
        return found.value * 1e-3 if found.known else 0.0

    @cached_property
    def quick(self) -> list[Stroke]:
        """Quick strokes in order of time."""
        return self._strokes(((labels.STROKE_OPEN, 1), (labels.STROKE_CLOSE, -1)))

    @cached_property
    def slow(self) -> list[Stroke]:
        """Slow strokes in order of time."""
        return self._strokes(((labels.SWEEP_OPEN, 1), (labels.SWEEP_RETURN, -1)))

    @cached_property
    def probe(self) -> list[Stroke]:
        """The short first push, by which a jammed part is seen."""
        return self._strokes(((labels.PROBE, 1),))

    def _strokes(self, wanted: tuple[tuple[str, int], ...]) -> list[Stroke]:
        found = [self._stroke(mark, turn) for label, turn in wanted for mark in self.stretches(label)]
        return sorted(
            (stroke for stroke in found if stroke is not None), key=lambda stroke: stroke.mark.start_s
        )

    def _stroke(self, mark: Mark, direction: int) -> Stroke | None:
        rows = self.of(mark)
        if len(rows) < TAIL:
            return None
        volts = load_voltage(rows) * direction
        current_a = (np.asarray(rows["current_a"], float) - self.zero_a) * direction
        stalled_a, stalled_v = float(current_a[-TAIL:].mean()), float(volts[-TAIL:].mean())
        if stalled_a < 0.02:
            return None
        ohm = (stalled_v - self.brush_v) / stalled_a
        rises_v = self.henry * np.gradient(current_a, 1e-3)
        emf_v = moving_mean(volts - np.sign(current_a) * self.brush_v - ohm * current_a - rises_v, SMOOTH)
        turning = emf_v > TURNING_V
        turns = np.flatnonzero(np.convolve(turning, np.ones(SMOOTH), "same") >= SMOOTH)
        start, end = (int(turns[0]), int(turns[-1]) + 1) if len(turns) else (0, 0)
        # what it rebounds by counts backwards, so all of the back-EMF until it has come to rest belongs to it
        inside = np.zeros(len(rows), bool)
        inside[self._begin(current_a, start, end) : end + REBOUNDS if end else 0] = True
        way_vs = np.cumsum(np.where(inside, emf_v, 0.0)) * 1e-3
        return Stroke(direction, mark, emf_v, way_vs, current_a, start, end)

    def _begin(self, current_a: Floats, start: int, end: int) -> int:
        """From where on the back-EMF is summed up: all of it where L is known; else from the current's first
        peak on, which is about what it ends with, so that L drops out and only the first ms are lost. In
        somebody else's recording a peak may be a tight place, and L is small beside what else is unknown."""
        if self.henry or self.by_samples or end - start < 2 * SMOOTH:
            return max(start - SMOOTH, 0)
        return int(np.argmax(current_a[: (start + end) // 2]))

    @cached_property
    def inertia(self) -> float:
        """Amperes per V/s of back-EMF (J / K^2), by least squares over the quick strokes' gathering speed."""
        rates, amps = [], []
        for stroke in self.quick:
            if stroke.end - stroke.start < 10:
                continue
            top_v = float(np.median(stroke.emf_v[stroke.start : stroke.end]))
            stop = int(np.argmax(stroke.emf_v > 0.85 * top_v))
            if stop - stroke.start >= 5:
                gathering = slice(stroke.start, stop)
                rates.append(np.gradient(stroke.emf_v)[gathering] * 1e3)
                amps.append(stroke.current_a[gathering] - np.median(stroke.current_a[stop : stroke.end]))
        if not rates:
            return 0.0
        rate, amp = np.concatenate(rates), np.concatenate(amps)
        return max(float(rate @ amp / (rate @ rate)), 0.0)

    @cached_property
    def position(self) -> Position | None:
        """Position during the strokes, held between them; None when nothing moved in the slow ones."""
        if not any(stroke.total_vs > 0.05 for stroke in self.slow):
            return None
        percent = np.zeros(len(self.run.samples))
        for stroke in sorted(self.quick + self.slow, key=lambda stroke: stroke.mark.start_s):
            here = self.window(stroke.mark.start_s, stroke.mark.end_s)
            percent[here] = self._percent(stroke)
            percent[here.stop :] = percent[here.stop - 1]
        return Position(percent, "", True, PLACE_U, percent)

    @staticmethod
    def _percent(stroke: Stroke) -> Floats:
        share = 100 * stroke.way_vs / max(stroke.total_vs, 1e-9)
        return share if stroke.direction > 0 else 100 - share

    @cached_property
    def sweeps(self) -> Sweeps:
        """Slow strokes as sweeps: current less that for gathering speed, along the drive, against
        position."""
        return Sweeps(tuple(self._sweep(stroke) for stroke in self.slow if stroke.end - stroke.start > 50))

    def _sweep(self, stroke: Stroke) -> Sweep:
        load_a = moving_mean(stroke.current_a, SMOOTH) - self.inertia * np.gradient(stroke.emf_v) * 1e3
        where = self._percent(stroke) * stroke.direction
        turn = stroke.direction
        return Sweep(
            turn, stroke.mark.start_s, stroke.mark.end_s,
            crossing(where, load_a * turn, GRID[::turn] * turn)[::turn],
            100.0 if turn > 0 else 0.0, float(stroke.current_a[-TAIL:].mean()) * turn,
        )  # fmt: skip

    @cached_property
    def fit(self) -> Mover | None:
        """Balance of torques over all strokes; that of volts is no news here, the position came from it."""
        return None if self.by_samples else self._fitted(0.0)  # too few strokes to part friction from inertia

    @cached_property
    def loop(self) -> Loop | str:
        """Resistance from the holds at the stops: the position itself is made from it."""
        found = turned_up(self) if self.by_samples else None
        return fit_loop(self) if found is None else found

    @property
    def seat_percent(self) -> float:
        """What is left out at either end, % of travel."""
        return ENDS_PERCENT

    @property
    def opening_side(self) -> tuple[float, float]:
        """Places between which friction is told, % of travel."""
        return ENDS_PERCENT, BEFORE_STOP

    @property
    def rest_percent(self) -> float:
        """It rests wherever it is left: there is no such place."""
        return math.nan

    def sweep_reach(self, direction: int) -> float:
        """A stroke's own way is its scale, so it always covers all."""
        return 0.0

    def side(
        self, opening: bool, margin: float = 2.0, stop: float = 3.0
    ) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
        """Mask over GRID: all but the ends, where it gathers speed from a standstill and meets the stop."""
        return np.asarray((GRID > ENDS_PERCENT) & (GRID < 100 - ENDS_PERCENT) & opening)

    @property
    def why_no_position(self) -> str:
        """A sentence for findings that need a position."""
        return "the motor did not turn in the slow strokes"

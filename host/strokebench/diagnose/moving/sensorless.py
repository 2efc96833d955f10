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
from strokebench.diagnose.case import load_voltage
from strokebench.diagnose.moving.case import MovingCase
from strokebench.diagnose.moving.position import Position
from strokebench.diagnose.moving.sweeps import GRID, Sweep, Sweeps, crossing
from strokebench.diagnose.stats import Floats, moving_mean
from strokebench.diagnose.winding import fit_loop

TAIL = 40
"""Samples at a stroke's end in which it stands at the stop."""
TURNING_V = 0.2
"""Back-EMF above which the motor is taken to turn: what noise and resistance leave is ten times smaller."""
SMOOTH = 5
ENDS_PERCENT = 6.0
PLACE_U = 0.7
"""Standard uncertainty of a position in % of travel: drift of R i, start and end by a threshold
(judgement)."""


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
    def zero_a(self) -> float:
        """What the current reads while the bridge is off, amperes."""
        resting = [rows["current_a"] for rows in self.samples(labels.REST)]
        return float(np.median(np.concatenate(resting))) if resting else 0.0

    @cached_property
    def brush_v(self) -> float:
        """Constant drop in brushes and contacts, volts."""
        loop = fit_loop(self)
        return 0.0 if isinstance(loop, str) else loop.brush_v

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
        emf_v = moving_mean(volts - np.sign(current_a) * self.brush_v - ohm * current_a, SMOOTH)
        turning = emf_v > TURNING_V
        turns = np.flatnonzero(np.convolve(turning, np.ones(SMOOTH), "same") >= SMOOTH)
        start, end = (int(turns[0]), int(turns[-1]) + 1) if len(turns) else (0, 0)
        inside = np.zeros(len(rows), bool)
        inside[start:end] = True
        way_vs = np.cumsum(np.where(turning & inside, emf_v, 0.0)) * 1e-3
        return Stroke(direction, mark, emf_v, way_vs, current_a, start, end)

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

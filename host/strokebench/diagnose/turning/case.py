"""A case of a part that turns without end: its levels of constant drive, each with current, back-EMF,
speed."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from strokebench.bench.budget import budget
from strokebench.data.run import Burst, Mark
from strokebench.data.samples import Samples
from strokebench.diagnose import labels
from strokebench.diagnose.case import Case, load_voltage
from strokebench.diagnose.charger import ripple_at_rest
from strokebench.diagnose.stats import Floats, Line, line
from strokebench.diagnose.turning.commutation import Motor, Rate, turn_rate
from strokebench.diagnose.turning.mains import TALL_LINES, without_mains
from strokebench.diagnose.turning.ranges import COARSE, Coarse, Ranges, Reading, compare
from strokebench.diagnose.turning.rotors import ROTORS, RotorKind

WINDOW_S = 0.3
"""The end of a level over which its current is averaged."""
FIRST_ROW, LAST_ROW = 2, 12
"""Rows of a release that show the back-EMF: after the freewheeling, before the speed has changed much."""
STANDS_V = 0.025
"""Back-EMF below this after a hold: the rotor stood."""
CARRIES_A = 0.05
"""Less current than this: the voltage does not reach over the brushes, so it says nothing of their drop."""
BRUSHES_V = 0.6
"""What brushes take where no holds at standstill show it (common practice); good enough to tell an octave."""
CLIPPED_V = 0.3
"""An open output below this is at the end of its converter's range."""
RELEASE_U = 0.05
"""Of a tick: the bridge goes off within a PWM period of its beginning."""
ZERO_V = 0.003
"""Standard uncertainty of the difference of two outputs at rest: a share of a code."""
AGREE = 0.11
"""Relative: levels whose back-EMF per speed differs by more contradict each other."""
HALF_OCTAVE = 0.29
"""At most so much where the back-EMF is uncertain: less than an octave."""
RAD_TO_RPM = 30 / math.pi


@dataclass(frozen=True)
class Level:
    """Steady running at one drive: ``volts`` and ``current`` at the terminals, ``emf_v`` of that speed.

    ``rate``: turns per second from the ripple, None where it could not be found. ``rows``: what the current
    was averaged over. ``source``: whether ``emf_v`` was seen after "release", follows from "speed" with the
    motor constant of a level that was released, or is what resistance and brushes "leave" of the voltage.
    """

    drive: float
    volts: float
    current: Reading
    emf_v: float
    u_emf_v: float
    rate: Rate | None
    burst: Burst | None
    rows: Samples
    source: str

    @property
    def current_a(self) -> float:
        """Mean current in the fine range's amperes."""
        return self.current.current_a

    @property
    def speed_rad_s(self) -> float:
        """Speed, NaN when not known."""
        return math.nan if self.rate is None else 2 * math.pi * self.rate.hz

    @property
    def span_s(self) -> tuple[float, float]:
        """Stretch of the recording."""
        return float(self.rows["time_s"][0]), float(self.rows["time_s"][-1])

    @property
    def turns(self) -> bool:
        """True when there is a back-EMF worth the name."""
        return self.emf_v > max(4 * STANDS_V, 0.03 * self.volts)


def highest(levels: list[Level]) -> Level | None:
    """The level with the highest drive, the last if there are several; None without any."""
    return max(levels, key=lambda level: (level.drive, level.span_s), default=None)


def _agreeing(levels: list[Level]) -> list[Level]:
    """The levels without the turn rates that contradict the rest: back-EMF over speed is one constant.

    A back-EMF seen after a release decides, without one the majority, as far as its uncertainty lets it.
    """
    ratio = np.array([level.emf_v / level.speed_rad_s for level in levels])
    known = np.isfinite(ratio)
    if known.sum() < 2:
        return levels
    seen = known & np.array([level.source == "release" for level in levels])
    middle = float(np.median(ratio[seen if seen.any() else known]))
    apart = np.full(len(levels), AGREE)
    if not seen.any():
        doubt = [2 * level.u_emf_v / max(abs(level.emf_v), STANDS_V) for level in levels]
        apart = np.clip(doubt, AGREE, HALF_OCTAVE)
    agree = known & (np.abs(ratio / middle - 1) < apart)
    if not seen.any() and 2 * agree.sum() <= known.sum():
        agree[:] = False
    return [level if good else replace(level, rate=None) for level, good in zip(levels, agree, strict=True)]


def _by_speed(levels: list[Level]) -> list[Level]:
    """The levels with the back-EMF of those not released from speed and motor constant."""
    seen = [level for level in levels if level.source == "release" and level.rate is not None and level.turns]
    if not seen:
        return levels
    k = float(np.mean([level.emf_v / level.speed_rad_s for level in seen]))
    u_k = max(level.u_emf_v / level.speed_rad_s for level in seen)
    out = []
    for level in levels:
        if level.source == "leave" and level.rate is not None:
            w = level.speed_rad_s
            level = replace(level, emf_v=k * w, u_emf_v=math.hypot(u_k * w, 0.001 * k * w), source="speed")
        out.append(level)
    return out


@dataclass(frozen=True)
class TurningCase(Case):
    """Run, profile and what all finders of a turning part share."""

    @property
    def names(self) -> RotorKind:
        """What is particular to this kind of part."""
        return ROTORS[self.profile.kind]

    @property
    def motor(self) -> Motor:
        """Commutator of the part; profile's ``nominal.segments`` and ``nominal.poles``."""
        nominal = self.profile.nominal
        return Motor(int(nominal.get("segments", 8)), int(nominal.get("poles", 2)))

    @cached_property
    def levels(self) -> list[Level]:
        """All levels of constant drive, in order of time."""
        found = [level for group in self._groups if (level := self._level(group)) is not None]
        return _by_speed(_agreeing(found))

    @cached_property
    def _groups(self) -> list[list[Mark]]:
        groups: list[list[Mark]] = []
        for mark in self.run.marks:
            fresh = not groups or (mark.label == labels.LEVEL and groups[-1][-1].label != labels.LEVEL)
            if mark.label in labels.AT_LEVEL:
                groups.append([mark]) if fresh else groups[-1].append(mark)
        return groups

    @cached_property
    def running(self) -> list[Level]:
        """Levels at which it turns."""
        return [level for level in self.levels if level.turns]

    @property
    def top(self) -> Level | None:
        """The last level with the highest drive, None without any."""
        return highest(self.levels)

    @cached_property
    def still(self) -> list[tuple[float, float, Samples]]:
        """Current, volts and rows of each hold at which the rotor stood and the brushes carried current."""
        found = []
        releases = list(self.run.labelled(labels.STILL_RELEASE))
        for hold in self.run.labelled(labels.STILL):
            after = next((release for release in releases if abs(release.start_s - hold.end_s) < 0.005), None)
            rows = self.run.of(hold)[30:]
            if len(rows) < 40 or after is None or not self._stood(after):
                continue
            amps = float(np.mean(rows["current_a"])) - self.zero_a
            if amps > CARRIES_A:
                found.append((amps, float(np.mean(load_voltage(rows))), rows))
        return found

    def _stood(self, after: Mark) -> bool:
        emf_v = load_voltage(self.run.of(after))[FIRST_ROW:]
        return len(emf_v) >= 10 and float(np.max(np.abs(emf_v[:10] - self.zero_v))) < STANDS_V

    @cached_property
    def zero_v(self) -> float:
        """Difference of the open outputs at rest: offset of two converters."""
        rows = next(iter(self.samples(labels.REST)), None)
        return float(np.median(load_voltage(rows))) if rows is not None else 0.0

    @cached_property
    def u_zero_v(self) -> float:
        """Its standard uncertainty while the bridge drives: at rest both outputs float half way up, where
        what their gains differ by is in the difference too."""
        rows = next(iter(self.samples(labels.REST)), None)
        floats_v = float(np.median(rows["output_a_v"])) if rows is not None else 0.0
        return math.hypot(ZERO_V, math.sqrt(2) * self.accuracy("output_a_v", "gain") * floats_v)

    def _steady(self, marks: list[Mark]) -> Samples | None:
        """The end of a level at constant drive, None where there is none."""
        end_s = marks[-1].end_s
        rows = self.run.between(max(end_s - WINDOW_S, marks[0].start_s), end_s)
        if len(rows) < 100:
            return None
        steady = np.abs(rows["drive"] - rows["drive"][-1]) < 0.01
        return None if steady.mean() < 0.95 or rows["drive"][-1] < 0.05 else rows

    def _level(self, marks: list[Mark]) -> Level | None:
        rows, end_s = self._steady(marks), marks[-1].end_s
        if rows is None:
            return None
        burst = self._burst(marks[0].start_s, end_s)
        current, volts = self.reading(rows, burst), float(np.mean(load_voltage(rows)))
        emf_v, u_emf_v, source = self._seen_or_left(end_s, current.current_a, volts)
        rate = self._rate(burst, emf_v)
        return Level(float(rows["drive"][-1]), volts, current, emf_v, u_emf_v, rate, burst, rows, source)

    def coasting(self, end_s: float) -> Samples | None:
        """Rows of the release right after ``end_s``, None without one that is long enough."""
        releases = self.run.labelled(labels.RELEASE)
        after = next((release for release in releases if abs(release.start_s - end_s) < 0.005), None)
        rows = None if after is None else self.run.of(after)
        return rows if rows is not None and len(rows) > LAST_ROW else None

    def _seen_or_left(self, end_s: float, amps: float, volts: float) -> tuple[float, float, str]:
        """Back-EMF, its u, and where it comes from (see :class:`Level`)."""
        coasting = self.coasting(end_s)
        if coasting is not None:
            return (*self.emf(coasting), "release")
        ohm, u_ohm, brush_v = self.carrying
        left_v = volts - self.zero_v - brush_v - ohm * amps
        return left_v, math.hypot(u_ohm * amps, 0.03), "leave"

    @cached_property
    def carrying(self) -> tuple[float, float, float]:
        """As ``standing``, with the resistance that the last release shows in its place where there is one.

        At standstill it is that of one place: a rotor that happens to stand on a burnt segment has another
        one than a rotor that turns. And it is the slope of small currents, in which the brushes' drop still
        comes up: without a release, no more is taken for a running motor than a sound part of its kind may
        have, give or take a quarter.
        """
        ohm, u_ohm, brush_v = self.standing
        brush_v = brush_v if math.isfinite(brush_v) else BRUSHES_V
        for marks in reversed(self._groups):
            rows, coasting = self._steady(marks), self.coasting(marks[-1].end_s)
            if rows is None or coasting is None:
                continue
            emf_v, u_emf_v = self.emf(coasting)
            amps, volts = self.reading(rows).current_a, float(np.mean(load_voltage(rows)))
            if amps > CARRIES_A:
                ohm = (volts - self.zero_v - brush_v - emf_v) / amps
                return ohm, math.hypot(u_emf_v, 0.03) / amps, brush_v
        most = self.limits("loop_resistance")[1]
        if most is not None and ohm > most:
            return most, most / 4, brush_v
        return ohm, u_ohm, brush_v

    @cached_property
    def standing(self) -> tuple[float, float, float]:
        """Resistance, its u in ohm, and brush drop in V from the holds at standstill; NaN without three."""
        if len(self.still) < 3:
            return math.nan, math.nan, math.nan
        fit = line([hold[0] for hold in self.still], [hold[1] - self.zero_v for hold in self.still])
        reach = self.still[-1][0] - self.still[0][0]
        return fit.slope, math.hypot(fit.u_slope, 0.004 / max(reach, 0.05)), fit.offset

    @property
    def ranges(self) -> Ranges:
        """Where the bench's current ranges meet."""
        limit_a = self.budget.fine_limit_a
        return Ranges(limit_a, limit_a / budget().fine_limit_a)

    @cached_property
    def coarse(self) -> Coarse:
        """The coarse range against the fine one, from bursts at levels whose current the fine one reads."""
        pairs = []
        for marks in self._groups:
            burst = self._burst(marks[0].start_s, marks[-1].end_s)
            if burst is None or burst.channel != COARSE:
                continue
            rows = self.run.between(burst.start_s, burst.start_s + len(burst.values) / burst.rate_hz)
            if len(rows) >= 50 and self.ranges.all_fine(float(np.mean(rows["current_a"])), burst):
                pairs.append((float(np.mean(rows["current_a"])), float(np.mean(burst.values))))
        fine_a, coarse_a = np.array(pairs).reshape(-1, 2).T
        return compare(
            fine_a, coarse_a, self.accuracy("current_a", "gain"), self.accuracy("current_a", "offset")
        )

    def reading(self, rows: Samples, burst: Burst | None = None) -> Reading:
        """Mean current of rows, or of a burst among them, in the fine range's amperes above its zero."""
        found = self.ranges.read(float(np.mean(rows["current_a"])), burst, self.coarse)
        return replace(found, current_a=found.current_a - self.zero_a)

    def emf(self, coasting: Samples) -> tuple[float, float]:
        """Back-EMF at the moment of release and its u, in V: a line through the first rows, drawn back to it.

        A row is the mean of the tick before it, so row n stands for n - 1/2 ticks after the release.
        """
        found, period_s = self._falling(coasting)
        timing_v = abs(found.slope) * RELEASE_U * period_s
        # the converter's share of a code does not average out over ten rows: 3 mV
        return found.offset, math.hypot(found.u_offset, timing_v, 0.003)

    def emf_slope(self, coasting: Samples) -> float:
        """How fast the back-EMF changes right after a release, V/s."""
        return self._falling(coasting)[0].slope

    def _falling(self, coasting: Samples) -> tuple[Line, float]:
        rows = coasting[FIRST_ROW:LAST_ROW]
        period_s = float(np.median(np.diff(rows["time_s"])))
        begun_s = float(coasting["time_s"][0]) + period_s / 2
        return line(rows["time_s"] - begun_s, self.open_voltage(rows)), period_s

    def open_voltage(self, rows: Samples) -> Floats:
        """Voltage between the open outputs. They stand evenly around a middle that the bench's resistors
        set; where the lower one would be below ground, twice the upper one's distance from the middle tells
        the same."""
        if float(np.min(rows["output_b_v"])) > CLIPPED_V or not math.isfinite(self._float_share):
            return load_voltage(rows) - self.zero_v
        return np.asarray(2 * (rows["output_a_v"] - self._float_share * rows["supply_v"]), float)

    @cached_property
    def _float_share(self) -> float:
        """Where output A floats with the bridge off, as a share of the supply; NaN without a rest."""
        rows = next(iter(self.samples(labels.REST)), None)
        return math.nan if rows is None else float(np.median(rows["output_a_v"] / rows["supply_v"]))

    def _burst(self, start_s: float, end_s: float) -> Burst | None:
        inside = [
            burst for burst in self.run.bursts
            if burst.label == labels.BURST_LEVEL and burst.unit == "A" and start_s <= burst.start_s < end_s
        ]  # fmt: skip
        return inside[-1] if inside else None

    def _rate(self, burst: Burst | None, emf_v: float) -> Rate | None:
        k_si = self.profile.nominal.get("k_v_s_per_rad", math.nan)
        if burst is None or not emf_v > 4 * STANDS_V:
            return None
        values = without_mains(burst.values, burst.rate_hz, TALL_LINES if self.charged else 0)
        return turn_rate(values, burst.rate_hz, self.motor, emf_v / k_si / (2 * math.pi))

    @cached_property
    def charged(self) -> bool:
        """True where a charger's ripple is seen: it may repeat more clearly than that of the motor."""
        ripple = ripple_at_rest(self)
        return not isinstance(ripple, str) and ripple.there

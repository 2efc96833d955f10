"""How a pump or fan runs down after it was switched off, by the volts that stand between its open leads.

No current flows then, so these volts are the back-EMF, K w, and what they lose in a second is what the load
takes. The torque at the moment of switching off is known, K i, which gives the load's law its scale
(:mod:`strokebench.diagnose.turning.law`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from strokebench.data.run import Mark
from strokebench.diagnose import labels
from strokebench.diagnose.case import Case, load_voltage
from strokebench.diagnose.stats import Floats, line
from strokebench.diagnose.switched.case import steady
from strokebench.diagnose.turning import law
from strokebench.diagnose.turning.case import TurningCase
from strokebench.diagnose.turning.commutation import Motor
from strokebench.diagnose.turning.rundown import Pieces, pieces

STEADY_U = 0.003
"""Relative, of a mean current."""
NONE_COMMON = np.zeros((0, 1))
"""There is one level, so no error that levels have in common."""
NO_VOLTS = "the recording holds no output volts"
SKIP_S, SWITCH_S = 0.004, 5e-4
"""The current of a winding that is let go has ended by the first. The second: standard uncertainty of when it
was switched off."""
LEAST_SHARE, DOWN_TO = 0.03, 0.08
"""Shares of the volts while running: with less, there is no back-EMF. And of the back-EMF: about as low as
the bench's own run-down is read, so that the same law is fitted over the same speeds."""
FEWEST = 12
"""Rows that are needed."""
LONGEST_S = 20.0
"""What happens later is no running down."""
FALLS_BY = 0.15
"""The back-EMF has to fall by so much of itself within the recording to tell a slope."""
SCALES = np.linspace(0.96, 1.04, 161)
"""By so much the phase of the commutator's ripple is looked for around what the steady speed says."""
MEMORY = 3
"""Neighbouring rows share what goes with the turn: uncertainties are widened by the root of this."""
DEGREE = 6
"""Of the smooth fall."""


@dataclass(frozen=True)
class Rundown:
    """``emf_v`` at the moment of switching off with its u. ``time_s`` and ``fall_v``: the back-EMF without
    the commutator's ripple, empty where too little of the fall was recorded."""

    emf_v: float
    u_emf_v: float
    time_s: Floats
    fall_v: Floats
    span_s: tuple[float, float]

    @property
    def falls(self) -> bool:
        """True where enough of the fall was recorded."""
        return len(self.time_s) > 0

    def pieces(self, speed_rad_s: float, rated_rad_s: float) -> Pieces | None:
        """Return it in pieces, ``speed_rad_s`` being that before it was switched off."""
        return pieces(self.time_s, self.fall_v / self.emf_v * speed_rad_s, rated_rad_s)


@dataclass(frozen=True)
class Fall:
    """How fast the back-EMF falls by itself: the load's law in shares of the steady speed and torque, and
    volts for each rad/s."""

    shape: law.Law
    per_slope: float

    def slope(self, share: Floats) -> Floats:
        """V/s at shares of the back-EMF that it was switched off with."""
        torque = law.columns(share, self.shape.power, 0.0)[:, :3] @ self.shape.terms
        return np.asarray(self.per_slope / self.shape.inertia * torque, float)


def read_fall(case: TurningCase, down: Rundown, speed_rad_s: float) -> Fall | None:
    """Return the law of a run-down, None where too little of it was recorded for one."""
    rated = case.profile.nominal.get("rated_rpm", math.nan) * math.pi / 30
    speed = speed_rad_s if math.isfinite(speed_rad_s) else rated
    coast = down.pieces(speed, speed) if down.falls else None
    if coast is None:
        return None
    known = np.ones(1), np.ones(1), np.array([STEADY_U])
    return Fall(law.fit(case.names.powers, *known, NONE_COMMON, coast), down.emf_v / speed)


def read_rundown(case: Case, speed_rad_s: float = math.nan) -> Rundown | str:
    """Return how it ran down after its steady stretch, or the reason in one sentence why that is not known.

    ``speed_rad_s``: in the steady stretch; where it is known, the ripple is taken off.
    """
    off = switched_off(case)
    if off is None:
        return "it was not recorded how it was switched off"
    rows = case.between(off.start_s + SKIP_S, off.end_s)
    if len(rows) < FEWEST:
        return "the recording ends as it is switched off"
    emf_v = np.abs(load_voltage(rows))
    top_v = running_v(case)
    if not (math.isfinite(top_v) and np.isfinite(emf_v).all()):
        return NO_VOLTS
    start_v = float(np.median(emf_v[:3]))
    u_v = case.accuracy("output_a_v", "gain") * start_v
    span_s = (float(rows["time_s"][0]), float(rows["time_s"][-1]))
    none = np.zeros(0)
    if start_v < LEAST_SHARE * top_v:
        return Rundown(start_v, 0.005 * top_v, none, none, span_s)
    count = _until(emf_v, DOWN_TO * start_v)
    rows, emf_v = rows[:count], emf_v[:count]
    if len(rows) < FEWEST or start_v - float(np.median(emf_v[-3:])) < FALLS_BY * start_v:
        return Rundown(start_v, u_v + 0.02 * start_v, none, none, span_s)
    return _cleaned(case, np.asarray(rows["time_s"], float), emf_v, off.start_s, speed_rad_s)


def _until(emf_v: Floats, least_v: float) -> int:
    """How many values come before the first that is lower."""
    low = emf_v < least_v
    return int(np.argmax(low)) if low.any() else len(emf_v)


def _cleaned(case: Case, time_s: Floats, emf_v: Floats, off_s: float, speed_rad_s: float) -> Rundown:
    """Without its ripple, and drawn back to the moment of switching off."""
    fall_v, since_s = emf_v, time_s - off_s
    first_v, u_v = _drawn_back(case, since_s, fall_v)
    if math.isfinite(speed_rad_s):
        nominal = case.profile.nominal
        ripples = Motor(int(nominal.get("segments", 8)), int(nominal.get("poles", 2))).ripples
        per_vs = ripples * speed_rad_s / first_v * SCALES
        tried = (_rippled(time_s, emf_v, _ripple(time_s, emf_v, each)) for each in per_vs)
        fall_v = emf_v - min(tried, key=lambda each: each[0])[1]
        first_v, u_v = _drawn_back(case, since_s, fall_v)
    return Rundown(first_v, u_v, time_s, fall_v, (float(time_s[0]), float(time_s[-1])))


def _rippled(time_s: Floats, emf_v: Floats, columns: Floats) -> tuple[float, Floats]:
    """What is left (RMS, V) beside a smooth fall and the columns of a ripple, and that ripple."""
    along = 2 * (time_s - time_s[0]) / (time_s[-1] - time_s[0]) - 1
    design = np.column_stack((np.polynomial.polynomial.polyvander(along, DEGREE), columns))
    answer, *_ = np.linalg.lstsq(design, emf_v, rcond=None)
    return float(np.std(emf_v - design @ answer)), columns @ answer[DEGREE + 1 :]


def _drawn_back(case: Case, since_s: Floats, fall_v: Floats) -> tuple[float, float]:
    """Back-EMF at time 0 and its u: from the middle of the first piece along the law of the fall."""
    rated = case.profile.nominal.get("rated_rpm", 3000.0) * math.pi / 30
    top_v, per_v = float(fall_v[0]), rated / float(fall_v[0])
    coast = pieces(since_s, fall_v * per_v, top_v * per_v)
    if coast is None:
        return top_v, 0.02 * top_v
    known = np.ones(1), np.ones(1), np.full(1, STEADY_U), NONE_COMMON
    found = law.fit((0, 1, 2), *known, coast)
    count = len(coast.share[0])
    middle_v, ahead_s, first_v = float(fall_v[:count].mean()), float(since_s[:count].mean()), top_v
    for _ in range(3):
        half_way = np.array([(first_v + middle_v) / 2 / top_v])
        slope = law.columns(half_way, 2.0, 0.0)[0, :3]
        first_v = middle_v + ahead_s * float(slope @ found.terms) / found.inertia / per_v
    risen_v = first_v - middle_v
    u_slope = float(np.sqrt(slope @ found.covariance[:3, :3] @ slope)) + float(coast.u[0])
    u_noise = line(since_s[:count], fall_v[:count]).residual * math.sqrt(MEMORY / count)
    return first_v, math.sqrt(u_noise**2 + (u_slope * risen_v) ** 2 + (SWITCH_S * risen_v / ahead_s) ** 2)


def _ripple(time_s: Floats, emf_v: Floats, per_vs: float) -> Floats:
    """Columns for the commutator's ripple of the back-EMF, which rows of a millisecond fold to anywhere: its
    phase follows from the back-EMF itself, ``per_vs`` radians for each V s."""
    step_s = float(np.median(np.diff(time_s)))
    rate = per_vs * _smooth(time_s, emf_v)
    columns = []
    for multiple in (1, 2):
        phase = multiple * _integral(time_s, rate)
        seen = np.sinc(multiple * rate * step_s / (2 * np.pi))  # a row is the mean of its time
        columns += [seen * np.cos(phase), seen * np.sin(phase)]
    return np.column_stack(columns)


def _smooth(time_s: Floats, emf_v: Floats) -> Floats:
    since_s = time_s - time_s[0]
    law = np.polynomial.polynomial.polyfit(since_s, emf_v, DEGREE)
    return np.asarray(np.polynomial.polynomial.polyval(since_s, law), float)


def _integral(time_s: Floats, values: Floats) -> Floats:
    return np.concatenate(([0.0], np.cumsum((values[1:] + values[:-1]) / 2 * np.diff(time_s))))


def switched_off(case: Case) -> Mark | None:
    """The stretch after the steady one in which the part is off, None when it is not in the recording."""
    mark = steady(case)
    if mark is None:
        return None
    later = (off for off in case.run.labelled(labels.SWITCHED_OFF) if off.start_s >= mark.end_s - 0.05)
    off = next(later, None)
    if off is None:
        return None
    again = (on.start_s for on in case.run.labelled(labels.SWITCHED_ON) if on.start_s > off.start_s)
    last_s = min(float(case.time_s[-1]), off.start_s + LONGEST_S)
    return replace(off, end_s=min([last_s, *again]))


def running_v(case: Case) -> float:
    """Volts across the part in the steady stretch, NaN without one."""
    mark = steady(case)
    return math.nan if mark is None else abs(float(np.median(load_voltage(case.of(mark)))))

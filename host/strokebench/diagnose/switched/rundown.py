"""How a pump or fan runs down after it was switched off, by the volts that stand between its open leads.

No current flows then, so these volts are the back-EMF, K w, and what they lose in a second is what the load
takes: J dw/dt = -T(w). The torque at the moment of switching off is known, K i, so the shape of the fall is
the torque at every speed below, without knowing J. This is the retardation method of IEC 60034-2-1, with
the run's own torque in place of a known inertia.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from strokebench.data.run import Mark
from strokebench.diagnose import labels
from strokebench.diagnose.case import Case, load_voltage
from strokebench.diagnose.stats import Floats
from strokebench.diagnose.switched.case import steady
from strokebench.diagnose.turning.commutation import Motor

NO_VOLTS = "the recording holds no output volts"
SKIP_S = 0.004
"""The current of a winding that is let go has ended by then."""
LEAST_SHARE, DOWN_TO = 0.03, 0.45
"""Shares of the volts while running: with less, there is no back-EMF; and of the back-EMF: as low as the
bench's own levels reach, so that the same law is fitted over the same speeds."""
FEWEST, FEW, LOWEST = 10, 40, 0.25
"""Rows that are needed; with fewer than the second it is followed further down, to this share at most."""
LONGEST_S = 20.0
"""What happens later is no running down."""
FALLS_BY = 0.15
"""The back-EMF has to fall by so much of itself within the recording to tell a slope."""
SCALES = np.linspace(0.96, 1.04, 161)
"""By so much the phase of the commutator's ripple is looked for around what the steady speed says."""
MEMORY = 3
"""Neighbouring rows share what goes with the turn: uncertainties are widened by the root of this."""


@dataclass(frozen=True)
class Rundown:
    """``emf_v`` at the moment of switching off with its u; ``terms`` of -dE/dt, V/s, by ``powers`` of E over
    that, with covariance; ``falls`` is False where too little of the fall was recorded for them."""

    emf_v: float
    u_emf_v: float
    powers: tuple[int, ...]
    terms: Floats
    covariance: Floats
    falls: bool
    span_s: tuple[float, float]

    def slope(self, share: Floats | float) -> Floats:
        """How fast the back-EMF falls, V/s, at shares of the one it was switched off with."""
        along = np.asarray(share, float)
        return np.asarray(sum(t * along**p for t, p in zip(self.terms, self.powers, strict=True)), float)


def read_rundown(case: Case, powers: tuple[int, ...], speed_rad_s: float = math.nan) -> Rundown | str:
    """Return how it ran down after its steady stretch, or the reason in one sentence why that is not known.

    ``powers``: of the speed, that its torque goes with; ``speed_rad_s``: in the steady stretch. The back-EMF
    is integrated: E(t) = E(0) - sum of terms x integral of (E/E(0))^power, which is linear in what is looked
    for and needs no derivative.
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
    none = np.zeros(len(powers)), np.zeros((len(powers), len(powers)))
    if start_v < LEAST_SHARE * top_v:
        return Rundown(start_v, 0.005 * top_v, powers, *none, False, span_s)
    count = _until(emf_v, DOWN_TO * start_v)
    if count < FEW:
        count = min(_until(emf_v, LOWEST * start_v), FEW)
    rows, emf_v = rows[:count], emf_v[:count]
    if len(rows) < FEWEST or start_v - float(np.median(emf_v[-3:])) < FALLS_BY * start_v:
        return Rundown(start_v, u_v + 0.02 * start_v, powers, *none, False, span_s)
    return _fitted(case, rows["time_s"], emf_v, off.start_s, powers, speed_rad_s)


def _until(emf_v: Floats, least_v: float) -> int:
    """How many values come before the first that is lower."""
    low = emf_v < least_v
    return int(np.argmax(low)) if low.any() else len(emf_v)


def _fitted(
    case: Case, time_s: Floats, emf_v: Floats, off_s: float, powers: tuple[int, ...], speed_rad_s: float
) -> Rundown:
    found = _solved(time_s, emf_v, off_s, powers, np.empty((len(emf_v), 0)))
    if math.isfinite(speed_rad_s):
        nominal = case.profile.nominal
        ripples = Motor(int(nominal.get("segments", 8)), int(nominal.get("poles", 2))).ripples
        per_vs = ripples * speed_rad_s / found.first_v * SCALES
        tried = (_solved(time_s, emf_v, off_s, powers, _ripple(time_s, emf_v, each)) for each in per_vs)
        found = min(tried, key=lambda each: each.left_v)
    span_s = float(time_s[0]), float(time_s[-1])
    return Rundown(found.first_v, found.u_v, powers, found.terms, found.covariance, True, span_s)


class Solved(NamedTuple):
    """Back-EMF as it was switched off with its u, the terms with their covariance, what is left (RMS, V)."""

    first_v: float
    u_v: float
    terms: Floats
    covariance: Floats
    left_v: float


def _solved(time_s: Floats, emf_v: Floats, off_s: float, powers: tuple[int, ...], more: Floats) -> Solved:
    """Least squares; ``more``: further columns."""
    share = _smooth(time_s, emf_v) / emf_v[0]
    falls = [-_integral(time_s, share**power) for power in powers]
    design = np.column_stack([np.ones(len(emf_v)), *falls, more])
    weight = np.linalg.pinv(design.T @ design)
    answer = weight @ design.T @ emf_v
    left = emf_v - design @ answer
    variance = float(left @ left) / max(len(emf_v) - design.shape[1], 1)
    covariance = weight * variance * MEMORY
    # back to the moment of switching off
    own = slice(1, 1 + len(powers))
    terms, ahead_s = answer[own], float(time_s[0]) - off_s
    first_v = float(answer[0]) + float(terms.sum()) * ahead_s
    scale = np.array([(first_v / float(emf_v[0])) ** power for power in powers])
    u_v = math.hypot(math.sqrt(covariance[0, 0]), float(abs(terms.sum())) * 5e-4)
    covariance = covariance[own, own] * np.outer(scale, scale)
    return Solved(first_v, u_v, terms * scale, covariance, math.sqrt(variance))


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
    law = np.polynomial.polynomial.polyfit(since_s, emf_v, 3)
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

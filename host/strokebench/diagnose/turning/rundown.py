"""A run-down in pieces: how fast a rotor that was let go slows by itself, by its back-EMF.

What that says of the load is in :mod:`strokebench.diagnose.turning.law`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from strokebench.diagnose import labels
from strokebench.diagnose.stats import Floats
from strokebench.diagnose.turning.case import FIRST_ROW, TurningCase

PIECES, LEAST_ROWS, FEWEST_ROWS = 10, 10, 4
"""Pieces at most; rows of each, and where there are few rows in all."""
LEAST_V = 0.5
"""Back-EMF down to which it is looked at: the zero of the outputs, a rotor that comes to rest."""
LEAST_TURNS, LAST_TURNS = 1.0, 0.5
"""A piece holds at least so many turns: the torque is not the same all around. The last may hold fewer."""
SLOPE_U = 0.003
"""Relative, of a piece of a single turn: what a turn that is not whole leaves of the pulsation. With more
turns it is less by their number."""


@dataclass(frozen=True)
class Pieces:
    """Stretches of a run-down: ``share`` holds the speeds over the rated one of each piece's rows with their
    ``weights`` (sum 1), ``slope`` is dw/dt in rad/s2 with its relative ``u``."""

    share: list[Floats]
    weights: list[Floats]
    slope: Floats
    u: Floats

    def mean(self, power: float) -> Floats:
        """Mean of the speed's power in each piece, weighted as a line's slope weighs its rows."""
        return np.array([float(w @ s**power) for s, w in zip(self.share, self.weights, strict=True)])

    def mean_log(self, power: float) -> Floats:
        """Mean of the same times the speed's logarithm: how it changes with the power."""
        return np.array(
            [float(w @ (s**power * np.log(s))) for s, w in zip(self.share, self.weights, strict=True)]
        )


def released(case: TurningCase, k_si: float, rated_rad_s: float) -> Pieces | None:
    """Return the run-down after the last level that was released, None without one that is long enough."""
    found = _coast(case)
    return None if found is None else pieces(found[0], found[1] / k_si, rated_rad_s)


def pieces(time_s: Floats, speed: Floats, rated_rad_s: float) -> Pieces | None:
    """Return a run-down in pieces, None where it is too short for three."""
    parts = _parts(time_s, speed)
    if len(parts) < 3:
        return None
    share, weights, slope, u = [], [], [], []
    for part in parts:
        fit_slope, u_fit = _slope(time_s[part], speed[part])
        away = np.linspace(-1, 1, len(time_s[part]) + 2)[1:-1]
        weight = 1 - away**2  # a slope by least squares is the mean of the slopes, weighted so
        share.append(speed[part] / rated_rad_s)
        weights.append(weight / weight.sum())
        slope.append(fit_slope)
        turns = float(speed[part].sum()) * float(np.median(np.diff(time_s))) / (2 * np.pi)
        u.append(float(np.hypot(u_fit / abs(fit_slope), SLOPE_U / max(turns, LAST_TURNS))))
    return Pieces(share, weights, np.array(slope), np.array(u))


def _slope(time_s: Floats, speed: Floats) -> tuple[float, float]:
    """Slope by least squares and its u from the noise: what is left of a parabola. The bend of a piece is no
    error of it, because the weights of its rows say what the slope is a mean of."""
    since_s = time_s - time_s.mean()
    found = np.polynomial.polynomial.polyfit(since_s, speed, 2)
    left = speed - np.polynomial.polynomial.polyval(since_s, found)
    u = float(np.sqrt(left @ left / (len(speed) - 3) / (since_s @ since_s)))
    return float(since_s @ speed / (since_s @ since_s)), u


def _coast(case: TurningCase) -> tuple[Floats, Floats] | None:
    """Time and back-EMF from the release on, while it lasts; None where nothing coasts."""
    releases = list(case.run.labelled(labels.RELEASE))
    if not releases:
        return None
    end_s = releases[-1].end_s
    for mark in case.run.marks:
        if mark.label == labels.COAST and abs(mark.start_s - end_s) < 0.005:
            end_s = mark.end_s
    rows = case.run.between(releases[-1].start_s, end_s)[FIRST_ROW:]
    if len(rows) < 3 * LEAST_ROWS:
        return None
    emf_v = case.open_voltage(rows)
    over = np.flatnonzero(emf_v < LEAST_V)
    last = int(over[0]) if len(over) else len(rows)
    return np.asarray(rows["time_s"][:last], float), emf_v[:last]


def _parts(time_s: Floats, speed: Floats) -> list[slice]:
    """Pieces of about the same loss of speed, each of enough rows and turns."""
    least = min(LEAST_ROWS, len(speed) // 3)
    if least < FEWEST_ROWS:
        return []
    turns = np.cumsum(speed) * float(np.median(np.diff(time_s))) / (2 * np.pi)
    fallen = (speed[0] - np.minimum.accumulate(speed)) / max(speed[0] - float(speed.min()), 1e-9)
    found: list[slice] = []
    begin = 0
    for at in range(1, len(speed) + 1):
        enough = at - begin >= least and turns[at - 1] - turns[begin] >= LEAST_TURNS
        if enough and fallen[at - 1] >= (len(found) + 1) / PIECES:
            found.append(slice(begin, at))
            begin = at
    if len(speed) - begin >= least and turns[-1] - turns[begin] >= LAST_TURNS:
        found.append(slice(begin, len(speed)))
    return found

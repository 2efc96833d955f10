"""Balance of torques while it moves, in amperes of motor current: inertia, friction, springs.

current = inertia x acceleration + viscous x speed + spring(place) + sign(speed) x friction(place)

Every term is a torque over the motor constant. Spring and friction are piecewise linear over the place, each
side of rest by itself, so neither has to have a shape that somebody thought of.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from strokebench.diagnose.moving.fit.regress import Solved, solve, weak
from strokebench.diagnose.moving.fit.signals import HALF_S, Signals
from strokebench.diagnose.stats import Floats

KNOTS = 11
"""Places at which spring and friction of the opening side are free; straight between them."""
AWAY = 2.0
STOP = 3.0
"""% of travel left out around rest, where the springs change side, and before a stop."""
CLOSING_AWAY = 1.0
WIDE_A = 5.0
"""Prior of everything in amperes: wide against any such part."""
BENDS_A, DIFFERS_A = 0.05, 0.1
"""Priors: a spring's change of slope from one place to the next, and friction's change, amperes."""
INERTIA_A = 5e-4
VISCOUS_A = 2e-3
"""Priors of inertia (A per %/s2) and viscous friction (A per %/s), wide likewise."""
MISFIT_SHARE = 0.3
"""Share of what is left unexplained that may stand at one place as a wrong spring or friction (judgement)."""
FEWEST = 60


class Passes(NamedTuple):
    """``fewest`` rows of the opening side that are needed; ``uneven``: how much spring and friction may vary
    along the way, as a share of what they may where every place is passed often; ``freer``: a second such
    share, with which everything is fitted again to see what depends on it."""

    fewest: int
    uneven: float
    freer: float | None = None


REPEATED = Passes(FEWEST, 1.0)
ONCE = Passes(25, 0.02, 0.1)
"""For a place that is passed once each way: there spring and friction that vary freely would explain all, and
inertia and drag nothing (from simulated parts)."""


@dataclass(frozen=True)
class Torque:
    """The fitted balance. ``rest``: where the springs change side, % of travel; ``knots`` of the opening
    side; ``closing``: the closing side was fitted too; ``freer``: the same where a place was passed once
    only, with spring and friction that may vary more."""

    solved: Solved
    rest: float
    knots: Floats
    closing: bool
    freer: Solved | None = None

    def _of(self, weights: Floats) -> tuple[float, float]:
        """Value of a weighted sum of the factors, and u; half of what a freer spring and friction would
        change belongs to it."""
        value, u = self.solved.of(weights)
        apart = 0.0 if self.freer is None else abs(self.freer.of(weights)[0] - value)
        return value, math.hypot(u, apart / 2)

    def _at(self, places: Floats, first: int) -> Floats:
        """Weights of the factors for the mean over ``places`` of a map that begins at factor ``first``."""
        weights = np.zeros(len(self.solved.answer))
        weights[first : first + len(self.knots)] = hats(places, self.knots).mean(axis=0)
        return weights

    def inside(self, low: float, high: float) -> Floats:
        """Places of the opening side between two of them, half a percent apart."""
        return np.arange(max(low, self.knots[0]), min(high, self.knots[-1]) + 1e-9, 0.5)

    def friction(self, low: float, high: float) -> tuple[float, float]:
        """Dry friction, mean over a part of the opening side: amperes and u. Where a place was passed once
        only, a tight spot is left out by the median of the friction that may vary."""
        value, u = self._of(self._at(self.inside(low, high), 2 + len(self.knots)))
        if self.freer is None:
            return value, u
        along = (
            hats(self.inside(low, high), self.knots)
            @ self.freer.answer[2 + len(self.knots) :][: len(self.knots)]
        )
        spot = min(float(np.median(along)) - float(along.mean()), 0.0)
        return value + spot, math.hypot(u, spot / 2)

    def spring_mean(self, low: float, high: float) -> tuple[float, float]:
        """Spring, mean over a part of the opening side: amperes and u."""
        return self._of(self._at(self.inside(low, high), 2))

    def spring_line(self, low: float, high: float) -> tuple[tuple[float, float], tuple[float, float]]:
        """Least-squares line through the spring: (value at rest, u) and (rise over 100 % of travel, u)."""
        places = self.inside(low, high)
        line = np.linalg.pinv(np.column_stack((np.ones(len(places)), places - self.rest)))
        parts = line @ hats(places, self.knots)
        found = []
        for row, size in zip(parts, (1.0, 100.0), strict=True):
            weights = np.zeros(len(self.solved.answer))
            weights[2 : 2 + len(self.knots)] = size * row
            found.append(self._of(weights))
        return found[0], found[1]

    @property
    def closing_spring(self) -> tuple[float, float]:
        """Spring half way between the closed stop and rest, positive towards rest: amperes and u."""
        weights = np.zeros(len(self.solved.answer))
        weights[2 + 2 * len(self.knots)] = -1.0
        return self._of(weights)

    @property
    def inertia(self) -> tuple[float, float]:
        """Amperes per % of travel per s2, and u."""
        return self._of(np.eye(len(self.solved.answer))[0])

    @property
    def viscous(self) -> tuple[float, float]:
        """Amperes per % of travel per s, and u."""
        return self._of(np.eye(len(self.solved.answer))[1])


def hats(places: Floats, knots: Floats) -> Floats:
    """Weights of a piecewise linear function's values at ``knots``, shape (places, knots)."""
    step = knots[1] - knots[0]
    away = np.abs(np.clip(places, knots[0], knots[-1])[:, None] - knots) / step
    return np.asarray(np.clip(1 - away, 0, None))


def fit_torque(signals: Signals, rest: float, seat: float, passes: Passes = REPEATED) -> Torque | None:
    """Return the balance over all rows that move, None with too few. ``seat``: % of travel next to rest that
    belongs to a seat and not to the way (at least ``AWAY``); a part on a seat has no closing side.
    ``passes``: what is asked of a recording, and how freely spring and friction may vary along the way."""
    low = rest + max(AWAY, seat)
    where, reach = signals.percent, _reach(signals)
    opening = (where - reach > low) & (where + reach < 100 - STOP)
    closing = (where + reach < rest - CLOSING_AWAY) & (where - reach > CLOSING_AWAY) & (seat <= 0)
    keep = signals.moving & (opening | closing)
    if (keep & opening).sum() < passes.fewest:
        return None
    knots = np.linspace(low, 100 - STOP, KNOTS)
    here, way = where[keep], np.sign(signals.speed[keep])
    side = closing[keep].astype(float)
    spring = hats(here, knots) * (1 - side)[:, None]
    down = side * (here - rest / 2) / 100
    design = np.column_stack((
        signals.acceleration[keep], signals.speed[keep], spring, spring * way[:, None], side, down,
        side * way,
    ))  # fmt: skip
    noise = np.r_[signals.noise_acceleration, signals.noise_speed, np.zeros(design.shape[1] - 2)]

    def solved(uneven: float) -> Solved:
        found = solve(
            design, signals.current_a[keep], _prior(design.shape[1], uneven), noise, signals.stretch[keep],
            signals.overlap,
        )  # fmt: skip
        return _with_misfit(found, signals)

    freer = None if passes.freer is None else solved(passes.freer)
    closing_seen = bool(side.sum() >= passes.fewest / 10)
    return Torque(solved(passes.uneven), rest, knots, closing_seen, freer)


def _prior(factors: int, uneven: float) -> Floats:
    """Precision of the factors before anything was measured."""
    prior = weak(np.r_[INERTIA_A, VISCOUS_A, np.full(factors - 2, WIDE_A)])
    for first, order, width_a in ((2, 2, BENDS_A), (2 + KNOTS, 1, DIFFERS_A)):
        apart = np.diff(np.eye(KNOTS), order, axis=0)
        prior[first : first + KNOTS, first : first + KNOTS] += apart.T @ apart / (uneven * width_a) ** 2
    return prior


def _with_misfit(solved: Solved, signals: Signals) -> Solved:
    """Return the fit with a term for what the model cannot explain: what is left over beyond the noise may
    stand at each place as a wrong spring or friction there (detents, presliding, play)."""
    noise_a = solved.answer[:2] * (signals.noise_acceleration, signals.noise_speed)
    unexplained = max(solved.residual**2 - float(noise_a @ noise_a), 0.0)
    maps = np.r_[0.0, 0.0, np.full(len(solved.answer) - 2, MISFIT_SHARE**2 * unexplained)]
    return replace(solved, covariance=solved.covariance + np.diag(maps))


def _reach(signals: Signals) -> Floats:
    """What half a window covers, % of travel: a bell's weight is nearly all in its middle half."""
    return np.asarray(np.abs(signals.speed) * HALF_S * 0.6)

"""Balance of volts: resistance with its rise by heat, contact drop, back-EMF.

volts = resistance x (1 + heat) x current + drop(current) + constant x speed + inductance x rate of current

Coasting belongs to it: no current, no drop, and between the open legs nothing but the back-EMF.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from strokebench.diagnose.moving.fit.regress import Solved, solve, weak
from strokebench.diagnose.moving.fit.signals import Mask, Signals
from strokebench.diagnose.stats import Floats

DROPS_A = (0.12, 0.45)
"""Currents over which a contact's drop comes up, tanh(i/i0): a mixture of both follows any such law."""
COOLS_S = 40.0
"""Time in which a small winding gives its heat to the case (common practice: tens of seconds)."""
OHM, DROP_V, OFFSET_V, CONSTANT, HENRY = 50.0, 0.6, 0.03, 0.1, 0.02
"""Priors' standard deviations; constant in V per % of travel per s."""
HEAT = 3e-3
"""Prior of the heat's share per A2 s."""
FEWEST = 60
KNOWN_SHARE = 0.05


@dataclass(frozen=True)
class Electric:
    """The fitted balance, with the loop's resistance as at the first row."""

    solved: Solved
    largest_a: float

    @property
    def well_known(self) -> bool:
        """True when the resistance is told apart from all else."""
        ohm, u_ohm = self.ohm
        return ohm > 0 and u_ohm < KNOWN_SHARE * ohm

    @property
    def ohm(self) -> tuple[float, float]:
        """Resistance of the loop when cold, ohm, and u."""
        return self.solved.of(np.eye(8)[0])

    @property
    def constant(self) -> tuple[float, float]:
        """Motor constant in V per % of travel per s, and u."""
        return self.solved.of(np.eye(8)[1])

    @property
    def per_a2s(self) -> float:
        """Share by which the resistance rises with each A2 s."""
        return float(self.solved.answer[2] / self.solved.answer[0])

    def drop_v(self, current_a: float) -> tuple[float, float]:
        """Contact drop at a current, volts, and u."""
        weights = np.zeros(8)
        weights[4:6] = drops(np.array([current_a]))[0]
        return self.solved.of(weights)


def drops(current_a: Floats) -> Floats:
    """Columns of the contact drop, odd in the current."""
    return np.asarray(np.tanh(current_a[:, None] / np.array(DROPS_A)))


def fit_electric(signals: Signals, usable: Mask) -> Electric | None:
    """Return the balance over the rows ``usable`` that move or stand still, None with too few."""
    keep = usable & signals.steady & (signals.moving | signals.still) & np.isfinite(signals.volts)
    if keep.sum() < FEWEST:
        return None
    amps = signals.current_a[keep]
    warm = heat(signals)[keep]
    design = np.column_stack((
        amps, signals.speed[keep], amps * warm[:, 0], amps * warm[:, 1], drops(amps), np.ones(len(amps)),
        signals.current_rate[keep],
    ))  # fmt: skip
    prior = weak(np.array([OHM, CONSTANT, HEAT, HEAT, DROP_V, DROP_V, OFFSET_V, HENRY]))
    noise = np.zeros(8)
    noise[1] = signals.noise_speed
    groups = np.cumsum(np.diff(keep, prepend=False) & keep)[keep].astype(np.intp)
    solved = solve(design, signals.volts[keep], prior, noise, groups, signals.overlap)
    return Electric(solved, float(np.max(np.abs(amps))))


def heat(signals: Signals) -> Floats:
    """A2 s put in since the first row: all of it, and what has not gone into the case yet; shape (n, 2)."""
    from scipy.signal import lfilter

    hop_s = float(np.median(np.diff(signals.time_s)))
    put_in = np.nan_to_num(signals.current_a) ** 2 * hop_s
    keeps = np.exp(-hop_s / COOLS_S)
    return np.column_stack((np.cumsum(put_in), lfilter([1.0], [1.0, -keeps], put_in)))

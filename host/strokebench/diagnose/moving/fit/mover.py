"""The fit of a whole recording: from arrays to parameters with their covariance."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from strokebench.diagnose.moving.fit.electric import Electric, fit_electric
from strokebench.diagnose.moving.fit.signals import Signals, read_signals
from strokebench.diagnose.moving.fit.torque import REPEATED, Passes, Torque, fit_torque
from strokebench.diagnose.stats import Floats

PLACES = np.arange(3.0, 40.0, 0.5)
"""Where rest is looked for, % of travel."""
NO_CURRENT_A = 0.03
FEW_ROWS = 20


@dataclass(frozen=True)
class Mover:
    """What was fitted; None where the recording does not show it. ``rest`` in % of travel."""

    signals: Signals
    electric: Electric | None
    torque: Torque | None
    rest: float


def fit_mover(
    time_s: Floats,
    volts: Floats,
    current_a: Floats,
    percent: Floats,
    *,
    rest: float | None = None,
    seat: float = 0.0,
    largest_a: float = np.inf,
    passes: Passes = REPEATED,
) -> Mover:
    """Fit both balances to samples: seconds, volts across the part, amperes, % of travel between the stops.

    Current zeroed, positive where it opens. ``rest``: where the springs change side, % of travel; None: that
    is found by the fit. ``seat``: how much next to rest belongs to a seat; 0 for a part with springs on both
    sides. ``largest_a``: currents beyond it are measured less well and left out of the volts' balance.
    ``passes``: how often its places were passed.
    ValueError when there is less than a window.
    """
    signals = read_signals(time_s, volts, current_a, percent)
    electric = fit_electric(signals, np.abs(signals.current_a) < largest_a)
    if rest is None:
        rest = find_rest(signals, passes)
    return Mover(signals, electric, fit_torque(signals, rest, seat, passes), rest)


def find_rest(signals: Signals, passes: Passes = REPEATED) -> float:
    """Return where it stands without current, else the place with which the balance of torques leaves least;
    % of travel, 0 when neither is there."""
    left_alone = signals.still & (np.abs(signals.current_a) < NO_CURRENT_A)
    there = signals.percent[left_alone & (signals.percent > PLACES[0]) & (signals.percent < PLACES[-1])]
    if len(there) >= FEW_ROWS:
        return float(np.median(there))
    tried = [(fit_torque(signals, float(place), 0.0, passes), float(place)) for place in PLACES]
    left = [(fit.solved.residual, place) for fit, place in tried if fit is not None and fit.closing]
    return min(left)[1] if left else 0.0

"""Magnetic diffusion in solid iron: inductance falls with frequency, as with a chain of eddy-current rings.

A sheet of iron passes flux as tanh(sqrt(s tau)) / sqrt(s tau) of what it passes at rest (Bertotti,
"Hysteresis in Magnetism", 1998, chapter 12, from memory). Its expansion is a sum of first-order lags with
the weights 8 / ((2k+1)^2 pi^2) and the times 4 tau / ((2k+1)^2 pi^2). A plunger in one piece is nearer to a
single ring. Each ring is an inductance with a resistor across it; at rest (DC) the resistors do not matter.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, pi

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
RINGS = 3
LEAST = 1e-6
"""Weight of a ring that is not there."""


@dataclass(frozen=True)
class Iron:
    """``weights`` are the shares of the iron's flux, their sum 1; ``times_s`` the lag of each ring at rest.

    ``grows``: a ring's time goes with inductance to this power; 1 is a ring of constant resistance.
    """

    weights: tuple[float, ...]
    times_s: tuple[float, ...]
    grows: float = 1.0


def blend(tau_s: float, single: float, grows: float) -> Iron:
    """Return iron between a sheet of diffusion time ``tau_s`` (``single`` 0) and one ring of its slowest time
    (1).

    Of a sheet, all lags but the first two are taken together as a third, quicker one.
    """
    odd = [2 * k + 1 for k in range(RINGS)]
    weights = [8 / (n * n * pi * pi) * (1 - single) for n in odd]
    weights[0] += single
    weights[-1] = 1 - sum(weights[:-1])
    times = [4 * tau_s / (n * n * pi * pi) for n in odd]
    return Iron(tuple(max(weight, LEAST) for weight in weights), tuple(times), grows)


def inductance_at(
    iron: Iron, air_h: float, iron_h: float, rest_h: float, hz: Floats
) -> NDArray[np.complex128]:
    """Inductance (complex: its imaginary part is loss) at the frequencies; ``air_h`` goes beside the iron.

    ``iron_h``: that of the iron at the place where the plunger is, ``rest_h`` at rest.
    """
    slower = (iron_h / rest_h) ** iron.grows
    total = np.full(np.shape(hz), air_h, complex)
    for weight, time_s in zip(iron.weights, iron.times_s, strict=True):
        total = total + iron_h * weight / (1 + 2j * pi * np.asarray(hz) * time_s * slower)
    return total


def ring_step(
    flux: float, weight: float, iron_h: float, bend: float, ohm: float, step_s: float, amps: float
) -> tuple[float, float]:
    """Return how much a ring's flux rises in a step at constant current, and more per ampere that it rises.

    The ring needs the current flux / L + bend flux^3 to hold its flux (the gap, and iron that saturates); its
    resistor carries the rest. Exact for a current that rises evenly, as far as the iron is straight.
    """
    own = flux / weight
    need = own / iron_h + bend * own * own * own
    per_wb = (1.0 / iron_h + 3.0 * bend * own * own) / weight
    rate = ohm * per_wb * step_s
    share = 1.0 - exp(-rate)
    return share / per_wb * (amps - need), (1.0 - share / rate) / per_wb

"""Conductance beside a coil, from the PWM ripple of the current.

A tick is too long to part a resistor beside the coil from eddy currents in its iron: one ring of eddy
currents with the coil's own resistance answers a step exactly as a resistor beside the whole coil does
(two-terminal networks of two poles, equivalent).  Within a PWM period they part: a resistor follows the
voltage's edges, and its admittance is the same at all harmonics, while that of a coil falls, as 1/n through
air, 1/sqrt(n) through solid iron (magnetic diffusion, from memory of Bertotti, "Hysteresis in Magnetism",
chapter 12), 1/n^2 for the losses of one ring behind air."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from strokebench.data.run import Burst
from strokebench.diagnose.coil.case import CoilCase
from strokebench.diagnose.moving.ripple import ripples, strongest_hz
from strokebench.diagnose.stats import Floats, Measured

HIGHEST = 0.45
"""Share of the sample rate up to which harmonics are looked at."""
HARMONICS = 6
LEAST_SINE, LEAST_DUTY = 0.2, 0.07
"""A harmonic that the duty all but leaves out says nothing."""
CLEAR = 6.0
"""Sigmas by which the strongest line must stand out."""
DELAYS, ROUNDS = 24, 4
EDGE_U = 0.03
"""Relative: edges and amplifier are not infinitely fast (judgement: 0.2 us of an on-time of 10 us, and
more)."""
LEAST_S = 0.15e-3
"""Siemens: where nothing flows, noise still finds its best moment and a share that is not negative
(judgement, from answers computed for nothing beside the coil)."""
LAW_U = 0.08
"""Share of the admittance at the lowest harmonic by which no sum of these laws may fit it: the largest
errors met with sheets and rings of iron in air, whose admittance was computed, were 0.15 of it (taken as
rectangular)."""


@dataclass(frozen=True)
class Lines:
    """Harmonics of the ripple: order, volts (seen from the middle of the on-time), current, noise of a
    line."""

    order: Floats
    volts: Floats
    amps: NDArray[np.complex128]
    noise_a: float


def beside(case: CoilCase) -> Measured | None:
    """Return the conductance in siemens, None where no burst of the current was taken while it was driven."""
    for burst in reversed(ripples(case)):
        end_s = burst.start_s + len(burst.values) / burst.rate_hz
        around = case.between(burst.start_s - 0.005, end_s + 0.002)
        if len(around) < 5:
            continue
        duty, supply_v = abs(float(np.median(around["drive"]))), float(np.median(around["supply_v"]))
        if LEAST_DUTY < duty < 1 - LEAST_DUTY and math.isfinite(supply_v):
            return from_ripple(burst, duty, supply_v)
    return None


def from_ripple(burst: Burst, duty: float, supply_v: float) -> Measured:
    """Return the part of the admittance that is the same at all harmonics, siemens.

    Where the ripple does not stand out of the noise, nothing flows beside the coil but what that could hide.
    """
    pwm_hz = strongest_hz(burst)
    found = lines(burst, pwm_hz, duty, supply_v)
    if float(np.max(np.abs(found.amps))) < CLEAR * found.noise_a:
        hidden = found.noise_a * CLEAR / float(np.max(np.abs(found.volts)))
        return Measured(0.0, hidden / 2)
    fits = [_fit(found, columns) for columns in ((0, 1, 2, 3), (0, 1, 2), (0, 1, 3))]
    value, u, _ = fits[0]
    apart = float(np.ptp([fit[0] for fit in fits if fit[2] < 2 * fits[0][2] + 4]))
    law = LAW_U * float(np.abs(found.amps[0] / found.volts[0]))
    return Measured(value, math.hypot(u, apart / 2, EDGE_U * value, law, LEAST_S))


def lines(burst: Burst, pwm_hz: float, duty: float, supply_v: float) -> Lines:
    """Return the harmonics of a rectangular wave in ``burst``, least squares with a mean and a drift."""
    count = len(burst.values)
    time_s = (np.arange(count) - (count - 1) / 2) / burst.rate_hz
    top = max(1, min(HARMONICS, int(HIGHEST * burst.rate_hz / pwm_hz)))
    order = np.arange(1, top + 1)
    turn = 2 * math.pi * pwm_hz * order[:, None] * time_s
    design = np.vstack((np.cos(turn), np.sin(turn), np.ones(count), time_s * burst.rate_hz / count)).T
    answer = np.linalg.lstsq(design, burst.values, rcond=None)[0]
    left = burst.values - design @ answer
    noise_a = float(np.sqrt(left @ left / count)) * math.sqrt(2 / count)
    sine = np.sin(math.pi * order * duty)
    kept = np.abs(sine) > LEAST_SINE
    amps = answer[:top] - 1j * answer[top : 2 * top]
    volts = 2 * supply_v / (math.pi * order) * sine
    return Lines(order[kept].astype(float), volts[kept], amps[kept], noise_a)


@lru_cache(maxsize=8)
def _laws(order: tuple[float, ...]) -> NDArray[np.complex128]:
    """Columns: a resistor, air, solid iron, losses of one ring behind air."""
    n = np.array(order)
    return np.column_stack((np.ones(len(n)) + 0j, -1j / n, np.sqrt(-1j / n), 1 / n**2 + 0j))


def _fit(found: Lines, columns: tuple[int, ...]) -> tuple[float, float, float]:
    """Return conductance, its u and the sum of squares left, at the best moment for the on-time's middle.

    No law can have a negative share, or it would feed back what it takes.
    """
    laws = _laws(tuple(found.order))[:, columns] * (found.volts / found.noise_a)[:, None]
    design = np.vstack((laws.real, laws.imag))
    middle, reach, best = 0.0, math.pi, (math.inf, np.zeros(len(columns)))
    for _ in range(ROUNDS):
        for shift in middle + reach * np.linspace(-1, 1, DELAYS + 1):
            turned = found.amps / found.noise_a * np.exp(1j * found.order * shift)
            answer, left = _positive(design, np.concatenate((turned.real, turned.imag)))
            if left < best[0]:
                best, at = (left, answer), shift
        middle, reach = at, 2 * reach / DELAYS
    left, answer = best
    freedom = max(2 * len(found.order) - len(columns) - 1, 1)
    active = np.flatnonzero((answer > 0) | (np.arange(len(columns)) == 0))
    covariance = np.linalg.pinv(design[:, active].T @ design[:, active])
    return float(answer[0]), math.sqrt(covariance[0, 0] * max(1.0, left / freedom)), left


def _positive(design: Floats, target: Floats) -> tuple[Floats, float]:
    """Least squares without negative answers, and the sum of squares left."""
    from scipy.optimize import nnls

    answer, norm = nnls(design, target)
    return np.asarray(answer, float), float(norm) ** 2

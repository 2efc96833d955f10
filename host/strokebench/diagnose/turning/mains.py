"""A charger's ripple in a motor's current, which looks like a turn: found, and left out."""

from __future__ import annotations

import math

import numpy as np

from strokebench.diagnose.stats import Floats
from strokebench.diagnose.turning.commutation import Motor, order_amplitude, refined
from strokebench.diagnose.turning.octaves import SIGMAS

MAINS_HZ, MAINS_OFF, MAINS_LINES = (50.0, 60.0), 0.006, 3
"""Mains, how far its frequency may be off (relative, with the clock of the instrument), and how many
multiples of its double are left out.  Of 480 simulated currents, half with a charger, three lines leave one
speed unread, two leave five, and five leave two (of motors without a charger, whose own ripple they take)."""
TALL_LINES = 2
"""Those that may be taller than a motor's ripple. With many ripples in a turn, a higher one may be the
motor's own: at 1500 rpm and 20 ripples it is the fifth of 100 Hz."""


def without_mains(values: Floats, rows_hz: float, lines: int = MAINS_LINES) -> Floats:
    """Return a current without the first ``lines`` of the ripple that a charger on the supply puts into it.

    A rectified mains' fundamental may be taller than all that the motor does, and looks like a turn.  Only
    lines at its own frequency are left out, so a motor that happens to turn so fast keeps its ripples.
    """
    if not lines:
        return values
    left = values - values.mean()
    time_s = np.arange(len(values)) / rows_hz
    for mains_hz in MAINS_HZ:
        hz, _ = refined(left, rows_hz, 2 * mains_hz, 1, Motor(2, 2))
        size, noise = order_amplitude(left, rows_hz, hz)
        if abs(hz / (2 * mains_hz) - 1) > MAINS_OFF or size < SIGMAS * noise:
            continue
        turns = 2 * math.pi * hz * np.outer(time_s, np.arange(1, lines + 1))
        waves = np.hstack((np.cos(turns), np.sin(turns)))
        left = left - waves @ np.linalg.lstsq(waves, left, rcond=None)[0]
    return np.asarray(left + values.mean(), float)


def beside_mains(hz: float, span_s: float) -> bool:
    """True where a line of the current may be a charger's: too near to its ripple, or to that's first
    harmonic, to be told from it in so short a time (two bins of a Hann window)."""
    lines = [multiple * 2 * mains_hz for mains_hz in MAINS_HZ for multiple in (1, 2)]
    return any(abs(hz - line) < 2 / span_s + MAINS_OFF * line for line in lines)

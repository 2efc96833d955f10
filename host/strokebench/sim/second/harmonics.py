"""PWM ripple through an inductance that depends on frequency: the sum of its harmonics."""

from __future__ import annotations

from collections.abc import Callable
from math import pi

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
HARMONICS = 25


def ripple_a(
    time_s: Floats, high_v: float, duty: float, ohm: float,
    henry: Callable[[Floats], NDArray[np.complex128]], pwm_hz: float,
) -> Floats:  # fmt: skip
    """Deviation in A from the mean at ``time_s`` (the on-time starts at 0) of a leg between 0 and ``high_v``.

    Fourier series of a rectangular wave, each line through R and its own inductance.
    """
    if not 0.0 < duty < 1.0 or high_v == 0.0:
        return np.zeros_like(time_s)
    number = np.arange(1, HARMONICS + 1)
    turn = 2 * pi * pwm_hz * number
    line_v = high_v * (1 - np.exp(-2j * pi * number * duty)) / (1j * pi * number)
    line_a = line_v / (ohm + 1j * turn * henry(np.asarray(pwm_hz * number, np.float64)))
    return np.asarray((line_a[:, None] * np.exp(1j * turn[:, None] * time_s)).real.sum(axis=0), np.float64)

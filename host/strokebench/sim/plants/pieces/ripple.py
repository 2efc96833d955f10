"""PWM ripple of a winding and of the bus capacitor, to be added to averaged quantities.

Exact exponentials in the periodic steady state, after Mohan, Undeland, Robbins, "Power Electronics" (see
:mod:`strokebench.physics.chopper`, which gives the extremes; here is the whole shape).
"""

from __future__ import annotations

from math import exp

import numpy as np
from numpy.typing import NDArray


def peak_to_peak_a(
    high_v: float, duty: float, resistance_ohm: float, inductance_h: float, pwm_hz: float
) -> float:
    """Ripple of a one-leg chopper (``high_v`` or 0 across the load), in A; exact for any L/R."""
    if not 0.0 < duty < 1.0:
        return 0.0
    steps = resistance_ohm / (inductance_h * pwm_hz)
    on, off = exp(-duty * steps), exp(-(1 - duty) * steps)
    return high_v / resistance_ohm * (1 - on) * (1 - off) / (1 - on * off)


def shape_a(
    time_s: NDArray[np.float64],
    high_v: float,
    duty: float,
    resistance_ohm: float,
    inductance_h: float,
    pwm_hz: float,
) -> NDArray[np.float64]:
    """Deviation from the mean at ``time_s`` (the on-time starts at 0), in A."""
    if not 0.0 < duty < 1.0 or high_v == 0.0:
        return np.zeros_like(time_s)
    phase = (time_s * pwm_hz) % 1.0
    steps = resistance_ohm / (inductance_h * pwm_hz)
    on, off = exp(-duty * steps), exp(-(1 - duty) * steps)
    high_a = high_v / resistance_ohm
    low_a = high_a * (1 - on) * off / (1 - on * off)
    top_a = high_a + (low_a - high_a) * on
    rising = high_a + (low_a - high_a) * np.exp(-phase * steps)
    falling = top_a * np.exp(-(phase - duty) * steps)
    wave: NDArray[np.float64] = np.where(phase < duty, rising, falling) - duty * high_a
    return wave


def edges_v(time_s: NDArray[np.float64], high_v: float, duty: float, pwm_hz: float) -> NDArray[np.float64]:
    """Deviation of a leg's voltage from its mean (the on-time starts at 0): a resistor's current follows
    it."""
    return np.where((time_s * pwm_hz) % 1.0 < duty, 1.0 - duty, -duty) * high_v


def bus_v(
    time_s: NDArray[np.float64], mean_a: float, duty: float, bus_f: float, pwm_hz: float
) -> NDArray[np.float64]:
    """Deviation of the bus voltage while the source feeds its mean: falls in the on-time, then recovers."""
    if not 0.0 < duty < 1.0:
        return np.zeros_like(time_s)
    phase = (time_s * pwm_hz) % 1.0
    swing_v = mean_a * (1 - duty) / (bus_f * pwm_hz)
    wave: NDArray[np.float64] = swing_v * (
        0.5 - np.where(phase < duty, phase / duty, (1 - phase) / (1 - duty))
    )
    return wave

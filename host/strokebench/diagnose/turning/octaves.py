"""Which of several turn rates, octaves apart, is it? Told by the lines that the right one has to explain.

What repeats N times a turn also repeats at half that rate, and a search that begins with a poor guess of the
rate may take the half or the double.  A sound motor has lines at multiples of N ripples a turn, one with a
bad segment at all multiples of its brush positions, uneven load one at the turn itself; nothing has lines
between those.  N against brush positions cannot be told so: that is left to the guess, which must then be
good to a factor of sqrt(N / brush positions).
"""

from __future__ import annotations

import math

from strokebench.diagnose.stats import Floats
from strokebench.diagnose.turning.commutation import Motor, Rate, order_amplitude, refined, turn_rate

SIGMAS = 5.0
"""A line stands so far above the noise beside it."""
PIECE_S = 0.5
"""Long enough to part the orders, short enough that the speed is one."""
SAME = 0.01
OCTAVES = (-2, -1, 0, 1, 2)
ODD = (1, 3, 5)
HIGHEST = 0.45
"""Share of the sample rate up to which lines are looked at."""


def turn_rates(values: Floats, rate_hz: float, motor: Motor, expected_hz: list[float]) -> list[Rate]:
    """Return the turn rates that ``values`` may mean if the expected one lies among ``expected_hz``.

    One when all of these lead to the same; none when nothing repeats.
    """
    found = [rate for hz in expected_hz if (rate := turn_rate(values, rate_hz, motor, hz)) is not None]
    seen = _different([rate.hz for rate in found])
    piece = values[-int(PIECE_S * rate_hz) :]
    possible = _different([hz * 2.0**octave for hz in seen for octave in OCTAVES])
    fitting = [hz for hz in possible if explains(piece, rate_hz, motor, hz)]
    if not fitting:
        return []
    chosen = _different([min(fitting, key=lambda hz: abs(math.log(hz / guess))) for guess in expected_hz])
    return [_rate(values, rate_hz, motor, hz, found) for hz in chosen]


def explains(values: Floats, rate_hz: float, motor: Motor, turn_hz: float) -> bool:
    """True when a motor at this rate has lines where ``values`` have them, and none where they have none."""

    def line(order: float) -> bool:
        if not 0 < order * turn_hz < HIGHEST * rate_hz:
            return False
        size, noise = order_amplitude(values, rate_hz, order * turn_hz)
        return size > SIGMAS * noise

    poles, ripples = motor.poles, motor.ripples
    if any(line(odd * poles / 2) for odd in ODD if odd * poles != 2):
        return False  # it turns half as fast: the brushes pass that often
    passes = 2 * poles != ripples and line(2 * poles)
    if passes:
        return any(line(odd * poles) for odd in ODD[1:])
    if line(ripples / 2) and ripples / 2 % poles:
        return False
    return line(ripples)


def _rate(values: Floats, rate_hz: float, motor: Motor, turn_hz: float, found: list[Rate]) -> Rate:
    for rate in found:
        if abs(rate.hz / turn_hz - 1) < SAME:
            return rate
    hz, u_hz = refined(values, rate_hz, turn_hz, motor.ripples, motor)
    return Rate(hz, u_hz, found[0].repeats)


def _different(rates: list[float]) -> list[float]:
    """Each rate once, lowest first."""
    kept: list[float] = []
    for hz in sorted(rates):
        if not kept or hz / kept[-1] - 1 > SAME:
            kept.append(hz)
    return kept

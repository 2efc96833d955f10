"""Which of several turn rates, octaves apart, is it? Told by the volts first, then by the lines.

What repeats N times a turn also repeats at half that rate, and a search that begins with a poor guess of the
rate may take the half or the double.  The volts leave a range of rates that a motor of this kind can have;
mostly a single octave lies in it.  Where several do, the lines decide: a sound motor has them at multiples of
N ripples a turn, one with a bad segment at all multiples of its brush positions, uneven load at the turn
itself, and nothing between those that is worth speaking of: brushes that are not quite alike, and harmonics
of an uneven load, leave small ones there.  N against brush positions cannot be told so: that is left to the
guess, which must then be good to a factor of sqrt(N / brush positions).
"""

from __future__ import annotations

from enum import IntEnum
from typing import NamedTuple

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
FACTOR = 1.8
"""A motor turns at most so many times as fast or as slowly as its volts and its kind let expect: spread,
load, leads, and magnets that lost nearly half (judgement)."""
WORTH, MUCH = 0.1, 0.5
"""Shares of a motor's tallest line from which on another one counts, and from which on it decides: brushes
that are not alike make a ripple's half look as a ripple with a tall harmonic does."""


class Fit(IntEnum):
    """How well a rate explains the lines: not at all, with a bad segment or brushes not alike, or well."""

    NONE, FAIR, GOOD = range(3)


class Answer(NamedTuple):
    """``rates``: the turn rates that are left, one when it is known; ``outside``: turns per second that would
    explain the lines but are none that such a motor makes."""

    rates: list[Rate]
    outside: list[float]


def turn_rates(values: Floats, rate_hz: float, motor: Motor, expected_hz: list[float]) -> Answer:
    """Return the turn rates that ``values`` may mean if the expected one lies among ``expected_hz``.

    Those octaves that a motor can have and that explain the lines best. Where the lines speak against all of
    them, every one is left, and those outside that would explain the lines: a single one is an answer only
    while nothing stands against it.
    """
    found = [rate for hz in expected_hz if (rate := turn_rate(values, rate_hz, motor, hz)) is not None]
    seen = _different([rate.hz for rate in found])
    octaves = _different([hz * 2.0**octave for hz in seen for octave in OCTAVES])
    piece = values[-int(PIECE_S * rate_hz) :]
    how = {hz: explains(piece, rate_hz, motor, hz) for hz in octaves}
    inside = [hz for hz in octaves if min(expected_hz) / FACTOR <= hz <= max(expected_hz) * FACTOR]
    outside = [hz for hz in octaves if how[hz] is Fit.GOOD and hz not in inside]
    best = max((how[hz] for hz in inside), default=Fit.NONE)
    left = [hz for hz in inside if how[hz] is best]
    if best is Fit.NONE and inside:
        left = _different([*inside, *outside])
    return Answer([_rate(values, rate_hz, motor, hz, found) for hz in left], outside)


def explains(values: Floats, rate_hz: float, motor: Motor, turn_hz: float) -> Fit:
    """Return how well a motor at this rate explains the lines of ``values``: it should have them where they
    are, and none where they are not."""

    def height(order: float) -> float:
        if not 0 < order * turn_hz < HIGHEST * rate_hz:
            return 0.0
        size, noise = order_amplitude(values, rate_hz, order * turn_hz)
        return size if size > SIGMAS * noise else 0.0

    poles, ripples = motor.poles, motor.ripples
    tallest = max(height(order) for order in (ripples, 2 * ripples, *range(2 * poles, ripples, poles)))
    if not tallest:
        return Fit.NONE
    # half as fast, the brushes pass that often
    against = max(height(odd * poles / 2) for odd in ODD if odd * poles != 2) / tallest
    passes = height(2 * poles) / tallest if 2 * poles != ripples else 0.0
    bad_segment = passes > WORTH and any(height(odd * poles) > WORTH * tallest for odd in ODD[1:])
    present = 1.0 if bad_segment else height(ripples) / tallest
    if not bad_segment:
        between = height(ripples / 2) / tallest if ripples / 2 % poles else 0.0
        against = max(against, passes, between)
    if against > MUCH or present <= WORTH:
        return Fit.NONE
    return Fit.FAIR if bad_segment or against > WORTH or present < MUCH else Fit.GOOD


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

"""The turn rate of a rotor in a recording of its current alone, as far as the volts can be guessed.

Ripples are told from turns by a guess of the speed.  It comes from the volts where they were recorded, else
from battery volts and from the start: at standstill the current is the volts over the resistance, so a peak
too small for battery volts means fewer of them (or a bad lead).  Only where all guesses lead to the same is
the speed told; where the start is missing too, nothing confirms it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from strokebench.data.run import Burst, Mark
from strokebench.diagnose.case import Case, load_voltage
from strokebench.diagnose.switched.case import centre, zero_a
from strokebench.diagnose.turning import loop, pump_alone
from strokebench.diagnose.turning.commutation import Motor, Rate
from strokebench.diagnose.turning.mains import without_mains
from strokebench.diagnose.turning.octaves import Answer, turn_rates

SUPPLIES_V = (10.5, 12.6, 14.8)
"""Volts a 12 V part may have been switched on to: flat, full, engine running (common practice)."""
BRUSHES_V = 0.8
PEAK_SHARE = 0.95
"""Of volts over resistance, what a start's peak comes to: the rotor turns already (from simulated parts)."""
DROP_SHARE = 0.15
"""Of the supply, what resistance takes while running, where the profile does not tell the resistance."""
RIPPLES = 4.0
"""Rows a ripple must have: with fewer it may fold to a frequency that means another speed."""
WEAKER = 1.2
"""Magnets only ever lose flux: so much faster than the nominal one is as likely."""
STRONGEST, WEAKEST = 1.18, 0.5
"""Motor constant over the nominal one: no specimen gives more, few that turn give less (judgement)."""
NO_EXPECTATION = "the profile has neither motor constant nor rated speed, or no motor turns at this current"
UNSURE = "worked out for battery volts, which neither a start nor volts in the recording confirm"


@dataclass(frozen=True)
class SpeedReading:
    """The turn rate, None with the reason ``why``; ``sure`` when the recording itself confirms the volts."""

    rate: Rate | None
    why: str
    sure: bool


def motor_of(case: Case) -> Motor:
    """Commutator of the part, from its profile."""
    nominal = case.profile.nominal
    return Motor(int(nominal.get("segments", 8)), int(nominal.get("poles", 2)))


def read_speed(case: Case, burst: Burst, mark: Mark, peak_a: float, emf_v: float) -> SpeedReading:
    """Return the turn rate in ``burst``, a piece of the steady stretch ``mark``; ``peak_a`` of the start and
    ``emf_v``, the back-EMF as it was switched off, NaN where they were not recorded."""
    expected, sure = guesses(case, mark, peak_a)
    nominal_hz = emf_v / case.profile.nominal.get("k_v_s_per_rad", math.nan) / (2 * math.pi)
    if math.isfinite(nominal_hz):
        expected, sure = [nominal_hz, WEAKER * nominal_hz], True
    if not expected:
        return SpeedReading(None, NO_EXPECTATION, False)
    motor, rows_hz = motor_of(case), burst.rate_hz
    ripple_hz = motor.ripples * max(expected)
    if rows_hz < RIPPLES * ripple_hz:
        rows = f"at {rows_hz:.0f} rows a second"
        return SpeedReading(
            None, f"{rows} the ripple, expected near {ripple_hz:.0f} Hz, cannot be followed", False
        )
    answer = turn_rates(without_mains(burst.values, rows_hz), rows_hz, motor, expected)
    if math.isfinite(nominal_hz) and len(answer.rates) > 1:
        able = [rate for rate in answer.rates if nominal_hz / STRONGEST < rate.hz < nominal_hz / WEAKEST]
        answer = answer._replace(rates=able or answer.rates)
    if len(answer.rates) == 1:
        return SpeedReading(answer.rates[0], "" if sure else UNSURE, sure)
    return SpeedReading(None, _why_none(answer, min(expected), max(expected), sure), False)


def _why_none(answer: Answer, low_hz: float, high_hz: float, sure: bool) -> str:
    """Why the speed is not told: which readings are left, and what would settle it."""
    if answer.rates:
        rpm = " or ".join(f"{60 * rate.hz:.0f}" for rate in answer.rates)
        given = "its ripple" if sure else "without the volts its ripple"
        return f"{given} may mean {rpm} rpm, each an octave from the next, and its lines do not settle it"
    if answer.outside:
        rpm = " or ".join(f"{60 * hz:.0f}" for hz in answer.outside)
        near = f"{60 * low_hz:.0f}" if high_hz < 1.01 * low_hz else f"{60 * low_hz:.0f} to {60 * high_hz:.0f}"
        return f"its ripple would mean {rpm} rpm, but at its volts about {near} rpm are expected"
    return "no ripple that repeats was found in the current"


def guesses(case: Case, mark: Mark, peak_a: float) -> tuple[list[float], bool]:
    """Return turns per second that the nominal motor would make at this current, and whether the recording
    itself tells the volts."""
    nominal, rows = case.profile.nominal, case.of(mark)
    k_si, alone = nominal.get("k_v_s_per_rad", math.nan), centre(case.profile, pump_alone.PUMP[0])
    ohm = alone if math.isfinite(alone) else centre(case.profile, loop.RESISTANCE[0])
    if not math.isfinite(k_si):
        rated_hz = nominal.get("rated_rpm", math.nan) / 60
        return ([share * rated_hz for share in (0.8, 1.0, 1.2)] if math.isfinite(rated_hz) else []), False
    amps = abs(float(np.median(rows["current_a"])) - zero_a(case))
    known_v = abs(float(np.median(load_voltage(rows))))
    drop_v = BRUSHES_V + (ohm * amps if math.isfinite(ohm) else DROP_SHARE * SUPPLIES_V[1])
    start_v = BRUSHES_V + ohm * peak_a / PEAK_SHARE
    turning = [max(fed_v - drop_v, 0.0) / k_si / (2 * math.pi) for fed_v in (*SUPPLIES_V, known_v, start_v)]
    battery, by_volts, by_start = turning[:3], turning[3], turning[4]
    if math.isfinite(known_v):
        return ([by_volts] if by_volts > 0 else []), True
    fed = [turn_hz for turn_hz in battery if turn_hz > 0]
    confirmed = math.isfinite(start_v) and by_start > 0
    return [*fed, *([by_start] if confirmed else [])], confirmed

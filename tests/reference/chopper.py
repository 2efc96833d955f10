"""Current of a resistance, inductance and back-EMF fed by a chopped voltage, in closed form.

Exact exponentials, after Mohan, Undeland, Robbins, "Power Electronics", chapters 7 and 13, and Erickson,
Maksimovic, "Fundamentals of Power Electronics", chapters 2 and 5 (chapter numbers from memory).
"""

import math
from dataclasses import dataclass


@dataclass(frozen=True)
class Ripple:
    """Periodic steady state of a current, in amperes."""

    minimum_a: float
    maximum_a: float
    mean_a: float

    @property
    def peak_to_peak_a(self) -> float:
        return self.maximum_a - self.minimum_a


@dataclass(frozen=True)
class Discontinuous:
    """Steady state of a current that reaches zero in each period; `conduct_s` is how long it flows."""

    peak_a: float
    conduct_s: float
    mean_a: float


def _check(resistance_ohm: float, inductance_h: float, duty: float, frequency_hz: float) -> None:
    if resistance_ohm <= 0 or inductance_h <= 0 or frequency_hz <= 0:
        raise ValueError("resistance, inductance and frequency must be positive")
    if not 0 <= duty <= 1:
        raise ValueError("duty must lie between 0 and 1")


def steady_state(
    high_v: float,
    low_v: float,
    emf_v: float,
    resistance_ohm: float,
    inductance_h: float,
    duty: float,
    frequency_hz: float,
) -> Ripple:
    """Current with `high_v` across the load for duty/f and `low_v` for the rest of the period.

    `low_v` is 0 for one switching leg, -high_v for locked anti-phase. Both directions must be able to conduct
    (synchronous rectification), else see `discontinuous`.
    """
    _check(resistance_ohm, inductance_h, duty, frequency_hz)
    tau_s = inductance_h / resistance_ohm
    on = math.exp(-duty / frequency_hz / tau_s)
    off = math.exp(-(1 - duty) / frequency_hz / tau_s)
    high_a = (high_v - emf_v) / resistance_ohm
    low_a = (low_v - emf_v) / resistance_ohm
    minimum_a = (low_a * (1 - off) + high_a * (1 - on) * off) / (1 - on * off)
    maximum_a = high_a + (minimum_a - high_a) * on
    return Ripple(minimum_a, maximum_a, duty * high_a + (1 - duty) * low_a)


def small_ripple_a(swing_v: float, duty: float, inductance_h: float, frequency_hz: float) -> float:
    """Peak-to-peak ripple when the period is short against L/R. `swing_v` = high - low level."""
    return swing_v * duty * (1 - duty) / (inductance_h * frequency_hz)


def discontinuous(
    high_v: float,
    emf_v: float,
    resistance_ohm: float,
    inductance_h: float,
    duty: float,
    frequency_hz: float,
    diode_v: float = 0.0,
) -> Discontinuous:
    """Current through a freewheel diode that lets it stop before the period ends.

    Raises ValueError when the current would still flow at the end of the period: then it is continuous.
    """
    _check(resistance_ohm, inductance_h, duty, frequency_hz)
    on_s = duty / frequency_hz
    peak_a = (high_v - emf_v) / resistance_ohm * (1 - math.exp(-on_s * resistance_ohm / inductance_h))
    tail_s = decay_time_s(peak_a, resistance_ohm, inductance_h, emf_v + diode_v)
    if on_s + tail_s > 1 / frequency_hz:
        raise ValueError("the current is continuous at this duty")
    charge = high_v * on_s - emf_v * (on_s + tail_s) - diode_v * tail_s
    return Discontinuous(peak_a, on_s + tail_s, charge * frequency_hz / resistance_ohm)


def decay_time_s(start_a: float, resistance_ohm: float, inductance_h: float, against_v: float) -> float:
    """Time for an inductive current to reach zero against a constant voltage (diode, clamp, EMF)."""
    if start_a <= 0:
        return 0.0
    if against_v <= 0:
        return math.inf
    return inductance_h / resistance_ohm * math.log1p(start_a * resistance_ohm / against_v)


def time_to_current_s(level_a: float, volts: float, resistance_ohm: float, inductance_h: float) -> float:
    """Time from rest until the current passes `level_a`; infinite when it never does."""
    reach = level_a * resistance_ohm / volts
    return math.inf if reach >= 1 else -inductance_h / resistance_ohm * math.log1p(-reach)

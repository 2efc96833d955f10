"""Current of a resistance, inductance and back-EMF fed by a chopped voltage.

Exact exponentials, after Mohan, Undeland, Robbins, "Power Electronics", chapters 7 and 13, and Erickson,
Maksimovic, "Fundamentals of Power Electronics", chapters 2 and 5 (chapter numbers from memory).
"""

import math


def inductance_from_ripple(swing_v: float, duty: float, ripple_a: float, frequency_hz: float) -> float:
    """Inductance in H from the peak-to-peak ripple of a short period; reads low as 1/f approaches L/R."""
    if ripple_a <= 0:
        raise ValueError("the ripple must be positive")
    return swing_v * duty * (1 - duty) / (ripple_a * frequency_hz)


def step_current_a(
    time_s: float, volts: float, resistance_ohm: float, inductance_h: float, start_a: float = 0.0
) -> float:
    """Current `time_s` after a constant voltage (less EMF) is put across R and L."""
    final_a = volts / resistance_ohm
    return final_a + (start_a - final_a) * math.exp(-time_s * resistance_ohm / inductance_h)

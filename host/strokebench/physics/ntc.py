"""Thermistor with negative temperature coefficient: R = R25 exp(B (1/T - 1/298.15 K)), IEC 60539-1."""

import math

ZERO_C_K = 273.15
R25_K = 298.15


def resistance_ohm(temperature_c: float, beta_k: float, r25_ohm: float = 10_000.0) -> float:
    """Resistance at a temperature by the one-beta law."""
    return r25_ohm * math.exp(beta_k * (1 / (temperature_c + ZERO_C_K) - 1 / R25_K))


def temperature_c(ohm: float, beta_k: float, r25_ohm: float = 10_000.0) -> float:
    """Temperature in C at a resistance by the one-beta law."""
    if ohm <= 0:
        raise ValueError("the resistance must be positive")
    return 1 / (1 / R25_K + math.log(ohm / r25_ohm) / beta_k) - ZERO_C_K


def slope_per_k(at_c: float, beta_k: float) -> float:
    """Relative change of resistance per kelvin, (dR/dT)/R = -B/T^2."""
    return -beta_k / (at_c + ZERO_C_K) ** 2


def divider_ratio(ohm: float, pull_up_ohm: float) -> float:
    """Share of the reference across a thermistor to ground under `pull_up_ohm` to the reference."""
    return ohm / (ohm + pull_up_ohm)

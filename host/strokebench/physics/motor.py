"""Permanent-magnet DC motor: V = R i + L di/dt + K w, K i = J dw/dt + b w + torque."""


def stall_current_a(volts: float, resistance_ohm: float) -> float:
    """Current of a blocked rotor after the electrical rise."""
    return volts / resistance_ohm

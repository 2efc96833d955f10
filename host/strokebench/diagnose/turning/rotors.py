"""What is particular to each kind of turning part: which defect a value out of its limits means there."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class RotorKind:
    """Names of defects by kind, empty where a value has no meaning of its own.

    ``powers``: powers of the speed that the load's torque is fitted with. ``light``/``heavy``: torque at the
    rated speed too low, or the share of it that grows with the speed too high; ``once``: varies with the
    turn; ``low_speed``: load falls off towards low speed.
    """

    powers: tuple[int, ...]
    light: str
    heavy: str
    once: str
    low_speed: str = ""


# a positive-displacement pump against its regulator: constant torque, and pipes and filter as the square
_FUEL_PUMP = RotorKind((0, 1, 2), light="dry", heavy="clogged", once="unbalanced", low_speed="worn")

ROTORS: dict[str, RotorKind] = {
    "fuel_pump": _FUEL_PUMP,
    "fuel_pump_fuse": _FUEL_PUMP,
    # affinity laws of fans and centrifugal pumps: torque as the square of the speed, over dry friction
    "water_pump": RotorKind((0, 2), light="dry", heavy="clogged", once="unbalanced"),
    "cooling_fan": RotorKind((0, 2), light="broken_blade", heavy="obstructed", once="broken_blade"),
}

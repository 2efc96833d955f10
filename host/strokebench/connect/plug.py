"""What a part's plug has, and which lead of the bench belongs on each pin."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from strokebench.parts.profile import Profile

LEADS = {
    "out_a": "output A",
    "out_b": "output B",
    "feed": "sensor feed 5 V",
    "ground": "sensor ground",
    "sensor_a": "sensor input A",
    "sensor_b": "sensor input B",
}
"""The bench's leads, and what they are called."""
WIRING_KINDS = ("wiring", "fuel_pump_fuse")
"""Here the sensor inputs look at the wires themselves; there is no sensor and no feed."""
ONE_WAY = ("solenoid", "egr_solenoid")
"""Coils: the polarity does not matter to the part."""
MOST_PINS = 24
"""Of a plug whose pins are looked for."""
POWER = ("winding_plus", "winding_minus")
NAMES = {
    "winding_plus": "winding +",
    "winding_minus": "winding -",
    "feed": "sensor feed",
    "ground": "sensor ground",
    "signal_a": "signal of track A",
    "signal_b": "signal of track B",
}


@dataclass(frozen=True)
class Drawn:
    """One lead as it is drawn: ``lead`` of the bench to ``pin`` of the part, with the pin's name."""

    lead: str
    pin: str
    name: str


def drawn(profile: Profile) -> tuple[Drawn, ...]:
    """Return each lead of the bench that this part needs, with the pin it belongs on."""
    if profile.kind in WIRING_KINDS:
        return _on_wires(profile.kind)
    names = {**NAMES, **_power_names(profile)}
    pins = [("out_a", "winding_plus"), ("out_b", "winding_minus")]
    if profile.tracks:
        pins += [("feed", "feed"), ("ground", "ground")]
        pins += [(f"sensor_{track}", f"signal_{track}") for track in sorted(profile.tracks)]
    return tuple(Drawn(lead, pin, names[pin]) for lead, pin in pins)


def _power_names(profile: Profile) -> dict[str, str]:
    if profile.kind in ONE_WAY:
        return {"winding_plus": "coil (diode: its plus)", "winding_minus": "coil, other end"}
    if profile.limits.drive_min < 0:
        return {"winding_plus": "motor, + opens", "winding_minus": "motor, other end"}
    return {"winding_plus": "plus", "winding_minus": "minus"}


def _on_wires(kind: str) -> tuple[Drawn, ...]:
    near = ("supply wire, near end", "ground wire, near end")
    far = ("load's plus, far end", "load's minus, far end")
    if kind == "fuel_pump_fuse":
        near = ("fuse socket, pump's side", "battery minus")
        far = ("pump connector, plus", "pump connector, minus")
    return (
        Drawn("out_a", "winding_plus", near[0]),
        Drawn("out_b", "winding_minus", near[1]),
        Drawn("sensor_a", "signal_a", far[0]),
        Drawn("sensor_b", "signal_b", far[1]),
    )


def pin_count(profile: Profile) -> int:
    """Return how many pins such a part's plug has at least."""
    return len(drawn(profile))

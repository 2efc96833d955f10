"""The circuit: every part with its value, reason and price, and its pins with their nets, from parts.txt.

A pin is written NUMBER:NAME=NET; a name that ends in ! is an output, in ? an input, in * an open collector,
anything else is passive. A net of - is not connected. Prices are in euro, from memory of small quantities.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

TYPES = {"!": "output", "?": "input", "*": "open_collector"}
_PIN = re.compile(r"(\w+):([^=\s]+?)([!?*]?)=(\S+)")


@dataclass(frozen=True)
class Pin:
    """One pin: number, name, KiCad's electrical type, net ("" if not connected)."""

    number: str
    name: str
    kind: str
    net: str


@dataclass(frozen=True)
class Part:
    """One part; ``box``: its body on the stripboard, such as "dip14"; empty where it is beside the board."""

    ref: str
    value: str
    pins: tuple[Pin, ...]
    box: str
    euro: float
    why: str

    @property
    def kind(self) -> str:
        """Letters of the reference."""
        return self.ref.rstrip("0123456789")


def _pins(text: str) -> tuple[Pin, ...]:
    found = _PIN.findall(text)
    return tuple(
        Pin(n, name, TYPES.get(end, "passive"), "" if net == "-" else net) for n, name, end, net in found
    )


_GPIO = {
    2: "4", 3: "5", 4: "6", 5: "7", 6: "9", 7: "10", 8: "11", 9: "12", 10: "14", 11: "15", 12: "16", 13: "17",
    14: "19", 15: "20", 16: "21", 17: "22", 18: "24", 19: "25", 20: "26", 21: "27", 22: "29", 26: "31",
    27: "32", 28: "34", 0: "1", 1: "2",
}  # fmt: skip
_NAMES = {
    2: "A_HIGH", 4: "B_HIGH", 6: "BRIDGE_ENABLE", 7: "TRIP_N", 8: "TRIP_LEVEL", 10: "LATCH_OK",
    11: "WATCHDOG", 13: "MAIN_SWITCH", 15: "STOP_OK", 20: "LED", 22: "BOARD_KIND", 26: "I_COARSE",
    27: "SENSOR_A", 28: "BUS_SENSE",
}  # fmt: skip
_OUTPUTS = {2, 4, 6, 8, 11, 13, 20}
PICO = " ".join(
    [
        *(f"{pad}:GPIO{n}{'!' if n in _OUTPUTS else ''}={_NAMES.get(n, '-')}" for n, pad in _GPIO.items()),
        "40:VBUS=+5V 35:ADC_VREF=+3V3A 33:AGND=GND",
        *(f"{n}:GND=GND" for n in (3, 8, 13, 18, 23, 28, 38)),
        "30:RUN=- 36:3V3=- 37:3V3_EN=- 39:VSYS=-",
    ]
)


def _parts() -> Iterator[Part]:
    table = Path(__file__).with_name("parts.txt").read_text(encoding="utf-8").replace("PICO", PICO)
    for line in table.strip().splitlines()[1:]:
        ref, value, pins, box, euro, why = (cell.strip() for cell in line.split("|"))
        yield Part(ref, value, _pins(pins), box, float(euro), why)


PARTS = tuple(_parts())


def nets() -> dict[str, list[tuple[str, str]]]:
    """Net -> (reference, pin number) of all that is connected to it."""
    found: dict[str, list[tuple[str, str]]] = {}
    for part in PARTS:
        for pin in part.pins:
            if pin.net:
                found.setdefault(pin.net, []).append((part.ref, pin.number))
    return found

"""Rules of the circuit that ERC cannot know. Each returns sentences about what is wrong; none means fine.

The pin table comes from firmware/strokefw/pico/pins.py, so firmware and schematic cannot drift apart.
"""

from __future__ import annotations

from hardware.checks import enable, port
from hardware.checks.netlist import Netlist, Part, parse_ohm
from hardware.checks.pin_page import pins

POWER_PACKAGE = "TO-220"
HIGH_SIDE_BLEED_OHM = 100e3
LOW_SIDE_BLEED_OHM = 10e3
# Gates that a controller drives directly, as its data sheet asks for.
DIRECT_GATE = {"LM74700": "GATE"}
SPI_LINES = {"CONV_DIN", "CONV_CLK"}  # no level at rest needed: chip select is high
NEEDS_SECOND_SOURCE = ("U", "Q", "PS")


def gates(netlist: Netlist) -> list[str]:
    """Every power MOSFET: series resistor, bleed resistor; every small one: something that keeps it off."""
    wrong = []
    for part in (p for p in netlist.parts.values() if p.kind == "Q"):
        nets = netlist.by_function(part.ref)
        if "B" in nets:
            continue  # a bipolar transistor
        gate, source = nets["G"], nets["S"]
        if _direct(netlist, gate):
            continue
        bleed = [parse_ohm(r.value) for r, other in netlist.resistors(gate) if other in (source, "GND")]
        if not bleed:
            wrong.append(f"{part.ref} ({gate}): no bleed resistor from gate to source or ground")
        if POWER_PACKAGE in part.footprint:
            wrong += _power_gate(netlist, part, gate, source, bleed)
    return wrong


def _direct(netlist: Netlist, gate: str) -> bool:
    for pin in netlist.nets[gate]:
        for value, function in DIRECT_GATE.items():
            if netlist.parts[pin.ref].value.startswith(value) and pin.function == function:
                return True
    return False


def _power_gate(netlist: Netlist, part: Part, gate: str, source: str, bleed: list[float]) -> list[str]:
    wrong = []
    if not any(other != source for _, other in netlist.resistors(gate)):
        wrong.append(f"{part.ref} ({gate}): no series resistor")
    if any(netlist.parts[pin.ref].kind == "U" for pin in netlist.nets[gate]):
        wrong.append(f"{part.ref} ({gate}): a chip sits directly at the gate")
    n_channel = not part.value.startswith("IRF4905")
    floor = HIGH_SIDE_BLEED_OHM if n_channel and source != "GND" else LOW_SIDE_BLEED_OHM
    if bleed and min(bleed) < floor:
        wrong.append(f"{part.ref} ({gate}): bleed below {floor:.0f} ohm")
    return wrong


def pin_table(netlist: Netlist) -> list[str]:
    """The module's pins carry the names of firmware/strokefw/pico/pins.py, and nothing else is connected."""
    module = netlist.with_value("Pico")[0]
    found = {}
    for function, net in netlist.by_function(module.ref).items():
        if function.startswith("GPIO"):
            found[int(function.split("/")[0][4:])] = net
    wanted = {row[0]: row[1] for row in pins.TABLE}
    return [
        f"GPIO{number}: schematic {found.get(number)!r}, pins.py {wanted.get(number)!r}"
        for number in sorted(found.keys() | wanted.keys())
        if found.get(number) != wanted.get(number)
    ]


def converter(netlist: Netlist) -> list[str]:
    """Channels of the external converter as in pins.CONVERTER."""
    chip = netlist.with_value("MCP3208")[0]
    nets = netlist.by_function(chip.ref)
    return [
        f"CH{i}: schematic {nets.get(f'CH{i}')!r}, pins.py {name!r}"
        for i, name in enumerate(pins.CONVERTER)
        if nets.get(f"CH{i}") != name
    ]


def rest_levels(netlist: Netlist) -> list[str]:
    """Each output of the module is held at its level at rest by a resistor."""
    wrong = []
    for _, net, direction, level, _ in pins.TABLE:
        if direction != pins.OUT or net in SPI_LINES:
            continue
        rail = "+3V3" if level else "GND"
        # a lamp's own series resistor is no pull-down
        if not any(other == rail and parse_ohm(r.value) >= 1e3 for r, other in netlist.resistors(net)):
            wrong.append(f"{net}: no resistor to {rail}")
    return wrong


def order_numbers(netlist: Netlist) -> list[str]:
    """Every line has an orderable number and a reason, chips and MOSFETs a second number."""
    wrong = []
    for part in netlist.parts.values():
        for name in ("MPN", "Why", "Description"):
            if not part.fields.get(name, "").strip():
                wrong.append(f"{part.ref} ({part.value}): no {name}")
        if part.kind in NEEDS_SECOND_SOURCE and not part.fields.get("MPN2", "").strip():
            wrong.append(f"{part.ref} ({part.value}): no second number")
    return wrong


def footprints(netlist: Netlist) -> list[str]:
    """Everything that sits on the board has a footprint."""
    return [f"{p.ref}: no footprint" for p in netlist.parts.values() if p.on_board and not p.footprint]


def lonely(netlist: Netlist) -> list[str]:
    """No net with a single pin (pins marked as not connected are named so by KiCad)."""
    return [
        f"{name}: only {len(nodes)} pin"
        for name, nodes in netlist.nets.items()
        if len(nodes) < 2 and not name.startswith("unconnected-")
    ]


RULES = {
    "gates": gates,
    "pin_table": pin_table,
    "converter": converter,
    "rest_levels": rest_levels,
    "order_numbers": order_numbers,
    "footprints": footprints,
    "lonely": lonely,
    "enable": enable.enable,
    "port": port.port,
}


def all_problems(netlist: Netlist) -> list[str]:
    """Every sentence of every rule."""
    return [f"{name}: {text}" for name, rule in RULES.items() for text in rule(netlist)]

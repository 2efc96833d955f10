"""The signal port: what stands between its two terminals and the board, followed through the netlist."""

from __future__ import annotations

from hardware.checks.netlist import Netlist, parse_ohm

SEND, READ = "SIGNAL_OUT", "SIGNAL_IN"
LEAST_READ_OHM = 22e3
"""24 V then put less than a milliampere into the clamp."""
LEAST_SEND_OHM = 22.0
"""24 V on a line that is pulled low are then about an ampere until the fuse has opened."""
SENDER_MAX_V = 12.0


def port(netlist: Netlist) -> list[str]:
    """Both lines have a suppressor; neither a pin of the microcontroller nor a supply meets them directly."""
    wrong = [f"{net}: no suppressor" for net in (SEND, READ) if not _at(netlist, net, "SMBJ24CA")]
    return [*wrong, *_sender(netlist), *_reader(netlist)]


def _at(netlist: Netlist, net: str, value: str) -> list[str]:
    return [p.ref for p in netlist.nets.get(net, []) if netlist.parts[p.ref].value.startswith(value)]


def _beyond(netlist: Netlist, net: str, kind: str) -> list[tuple[str, str]]:
    """Parts of a kind at a net, each with the net at its other end."""
    refs = {p.ref for p in netlist.nets.get(net, []) if netlist.parts[p.ref].kind == kind}
    return [(ref, other) for ref in refs for other in netlist.pins_of(ref).values() if other != net]


def _sender(netlist: Netlist) -> list[str]:
    fuses = _beyond(netlist, SEND, "F")
    if not fuses:
        return ["SIGNAL_OUT: no fuse"]
    behind = [(part, node) for part, node in netlist.resistors(fuses[0][1]) if node != SEND]
    if not behind or parse_ohm(behind[0][0].value) < LEAST_SEND_OHM:
        return ["SIGNAL_OUT: no resistor behind the fuse"]
    node = behind[0][1]
    wrong = []
    others = [p for p in netlist.nets[node] if netlist.parts[p.ref].kind not in ("R", "Q", "D")]
    if others:
        wrong.append(f"SIGNAL_OUT: {others[0].ref} is driven back by a supply on the line")
    pulls = [p for p in netlist.nets[node] if netlist.parts[p.ref].kind == "Q" and p.function == "D"]
    if not pulls:
        wrong.append("SIGNAL_OUT: nothing pulls it low")
    if not any(p.function == "K" for p in netlist.nets[node] if netlist.parts[p.ref].kind == "D"):
        wrong.append("SIGNAL_OUT: a supply on the line feeds the port")
    return [*wrong, *_sender_supply(netlist)]


def _sender_supply(netlist: Netlist) -> list[str]:
    """The sender's supply comes from 5 V, or through a follower whose base a Zener diode holds."""
    chips = netlist.with_value("TC4428")
    if not chips:
        return ["signal port: no sender"]
    supply = netlist.by_function(chips[0].ref)["VDD"]
    wrong = []
    for _, source in _beyond(netlist, supply, "JP"):
        followers = [p.ref for p in netlist.nets[source] if p.function == "E"]
        if source == "+5V":
            continue
        bases = [netlist.by_function(ref)["B"] for ref in followers]
        if not any(_at(netlist, base, f"BZT52C{SENDER_MAX_V:g}") for base in bases):
            wrong.append(f"signal port: {source} can lift the sender above {SENDER_MAX_V:g} V")
    return wrong


def _reader(netlist: Netlist) -> list[str]:
    into = [(part, node) for part, node in netlist.resistors(READ) if _at(netlist, node, "74LVC1G17")]
    if not into or parse_ohm(into[0][0].value) < LEAST_READ_OHM:
        return ["SIGNAL_IN: not through a resistor into the Schmitt trigger"]
    wrong = [] if _at(netlist, into[0][1], "BAV199") else ["SIGNAL_IN: no clamp at the Schmitt trigger"]
    for pull, node in netlist.resistors(READ):
        if node == into[0][1]:
            continue
        ends = [other for _, other in _beyond(netlist, node, "D")]
        if "+5V" not in ends:
            wrong.append(f"SIGNAL_IN: {pull.ref} lets a supply on the line feed the 5 V")
    return wrong

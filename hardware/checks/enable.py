"""The enable chain of the bridge, followed through the netlist pin by pin."""

from __future__ import annotations

from collections.abc import Iterator

from hardware.checks.netlist import Netlist

# units of the triple AND: inputs, output
AND_UNITS = ((("1", "2", "13"), "12"), (("3", "4", "5"), "6"), (("9", "10", "11"), "8"))
# units of the quad NOR: inputs, output
NOR_UNITS = ((("2", "3"), "1"), (("5", "6"), "4"), (("8", "9"), "10"), (("11", "12"), "13"))
GUARDED = {
    "MAIN_ON": {"MAIN_SWITCH", "LATCH_OK", "WATCHDOG_OK"},
    "PRECHARGE_ON": {"PRECHARGE", "LATCH_OK", "WATCHDOG_OK"},
}
RUN_INPUTS = {"BRIDGE_ENABLE", "LATCH_OK", "WATCHDOG_OK"}


def enable(netlist: Netlist) -> list[str]:
    """Latch, watchdog, emergency stop and comparator all stand in the way of the gates, without the Pico."""
    return [
        *_latch(netlist),
        *_watchdog(netlist),
        *_supply_switches(netlist),
        *_run(netlist),
        *_stop_loop(netlist),
        *_drivers(netlist),
        *_cycle_trip(netlist),
    ]


def _at(netlist: Netlist, net: str, value: str) -> list[str]:
    """Pad numbers of parts of a given value at a net."""
    return [p.number for p in netlist.nets.get(net, []) if netlist.parts[p.ref].value.startswith(value)]


def _comparators(netlist: Netlist, net: str, watches: str = "") -> int:
    """How many comparators pull a net low; of those chips only that see a net of the name ``watches``."""
    outputs = {"MCP6569": {"1", "7", "8", "14"}, "MCP6567": {"1", "7"}}
    found = 0
    for pin in netlist.nets.get(net, []):
        seen = any(watches in name for name in netlist.pins_of(pin.ref).values())
        pads = next((p for v, p in outputs.items() if netlist.parts[pin.ref].value.startswith(v)), set())
        found += seen and pin.number in pads
    return found


def _module(netlist: Netlist) -> str:
    return netlist.with_value("Pico")[0].ref


def _latch(netlist: Netlist) -> list[str]:
    wrong = []
    if _comparators(netlist, "HARD_N", "I_TRIP") < 2:
        wrong.append("HARD_N: fewer than two hard comparators")
    own = any(
        "CSD18536" in part.value for part in netlist.parts.values()
    )  # half-bridge chips watch themselves
    if own and _comparators(netlist, "HARD_N", "I_SUPPLY") < 2:
        wrong.append("HARD_N: nothing watches the legs' supply current")
    if "1" not in _at(netlist, "HARD_N", "74HC74"):
        wrong.append("HARD_N does not clear the latch")
    if not _at(netlist, "HARD_N", "MCP120"):
        wrong.append("HARD_N: no supply supervisor")
    if any(pin.ref == _module(netlist) for pin in netlist.nets.get("HARD_N", [])):
        wrong.append("HARD_N depends on the microcontroller")
    if "5" not in _at(netlist, "LATCH_OK", "74HC74"):
        wrong.append("LATCH_OK is not the latch output")
    pulls = {other.rsplit("/", 1)[-1] for _, other in netlist.resistors("HARD_N")}
    if not {"HEAT_LOOP", "GND"} <= pulls:
        wrong.append("HARD_N: the pull-up does not run through the heat switch, or no pull-down")
    feeds = {other for net in _through_heat_switch(netlist) for _, other in netlist.resistors(net)}
    if "+3.3VA" not in feeds:
        wrong.append("HARD_N: without the comparators' own supply the latch would stay set")
    return wrong


def _through_heat_switch(netlist: Netlist) -> set[str]:
    """Nets at the far end of the heat switch's connector."""
    loop = next((net for net in netlist.nets if net.endswith("HEAT_LOOP")), "")
    refs = {pin.ref for pin in netlist.nets.get(loop, []) if pin.ref.startswith("J")}
    return {net for ref in refs for net in netlist.pins_of(ref).values() if net != loop}


def _watchdog(netlist: Netlist) -> list[str]:
    ok = "13" in _at(netlist, "WATCHDOG_OK", "74HC123") and "2" in _at(netlist, "WATCHDOG", "74HC123")
    return [] if ok else ["watchdog: WATCHDOG does not trigger the one-shot that gives WATCHDOG_OK"]


def _and_inputs(netlist: Netlist, output: str) -> set[str]:
    """Nets at the inputs of the AND unit that drives a net."""
    for chip in netlist.with_value("74HC11"):
        nets = netlist.pins_of(chip.ref)
        for inputs, pad in AND_UNITS:
            if nets.get(pad) == output:
                return {nets[i] for i in inputs}
    return set()


def _supply_switches(netlist: Netlist) -> list[str]:
    return [
        f"{net}: inputs are not {wanted}"
        for net, wanted in GUARDED.items()
        if _and_inputs(netlist, net) != wanted
    ]


def _stage(netlist: Netlist) -> tuple[str, str] | None:
    """Gate and source net of the transistor that pulls DRIVER_DISABLE low."""
    for pin in netlist.nets.get("DRIVER_DISABLE", []):
        if netlist.parts[pin.ref].kind == "Q" and pin.function == "D":
            nets = netlist.by_function(pin.ref)
            return nets["G"], nets["S"]
    return None


def _run(netlist: Netlist) -> list[str]:
    stage = _stage(netlist)
    if stage is None:
        return ["DRIVER_DISABLE: nothing pulls it low"]
    wrong = []
    if _and_inputs(netlist, stage[0]) != RUN_INPUTS:
        wrong.append(f"enable gate: inputs are not {RUN_INPUTS}")
    if not any(other == "+3V3" for _, other in netlist.resistors("DRIVER_DISABLE")):
        wrong.append("DRIVER_DISABLE: no pull-up, so not off by default")
    return wrong


def _stop_loop(netlist: Netlist) -> list[str]:
    """Enable transistor -> transistor to ground; its gate: pulled down, fed from 5 V through the switch."""
    stage = _stage(netlist)
    if stage is None or stage[1] != "ESTOP_OPEN":
        return ["emergency stop is not in series with the enable transistor"]
    for pin in netlist.nets["ESTOP_OPEN"]:
        nets = netlist.by_function(pin.ref)
        if netlist.parts[pin.ref].kind == "Q" and pin.function == "D" and nets["S"] == "GND":
            return _fed_loop(netlist, nets["G"])
    return ["emergency stop: nothing pulls ESTOP_OPEN low while the loop is closed"]


def _fed_loop(netlist: Netlist, gate: str) -> list[str]:
    ends = [other for _, other in netlist.resistors(gate)]
    wrong = [] if "GND" in ends else ["emergency stop: an open loop does not pull its gate low"]
    for wire in ends:
        for pin in netlist.nets[wire]:
            if netlist.parts[pin.ref].value != "E-STOP":
                continue
            feeds = [net for net in netlist.pins_of(pin.ref).values() if net != wire]
            if any(other == "+5V" for feed in feeds for _, other in netlist.resistors(feed)):
                return wrong
            return [*wrong, "emergency stop: the loop is not fed through a resistor from 5 V"]
    return [*wrong, "emergency stop: the loop does not reach its connector"]


def _drivers(netlist: Netlist) -> list[str]:
    """Whoever takes a gate input obeys DRIVER_DISABLE."""
    wrong = []
    for part in netlist.with_value("UCC21520"):
        nets = netlist.by_function(part.ref)
        if nets["INA"] in ("A_HIGH", "B_HIGH") and nets["DIS"] != "DRIVER_DISABLE":
            wrong.append(f"{part.ref}: disable pin is on {nets['DIS']}")
    for part in netlist.with_value("BTN8982"):
        inhibit = netlist.by_function(part.ref)["INH"]
        if "DRIVER_DISABLE" not in _nor_inputs(netlist, inhibit):
            wrong.append(f"{part.ref}: INH does not depend on DRIVER_DISABLE")
    return wrong


def _nor_inputs(netlist: Netlist, output: str) -> set[str]:
    for chip in netlist.with_value("74HC02"):
        nets = netlist.pins_of(chip.ref)
        for inputs, pad in NOR_UNITS:
            if nets.get(pad) == output:
                return {nets[i] for i in inputs}
    return set()


def _cycle_trip(netlist: Netlist) -> list[str]:
    reaches = any(pin.ref == _module(netlist) for pin in netlist.nets.get("TRIP_N", []))
    if _comparators(netlist, "TRIP_N") < 2 or not reaches:
        return ["TRIP_N: not a window comparator into the microcontroller"]
    wrong = []
    if {other for _, other in netlist.resistors("TRIP_N")} != {"+3.3VA"}:
        wrong.append("TRIP_N: without the comparators' own supply it would read as no trip")
    if any(True for _ in _smoothed(netlist, "TRIP_LEVEL")):
        wrong.append("TRIP_LEVEL: scaled by the microcontroller's supply, not by the comparators'")
    return wrong


def _smoothed(netlist: Netlist, net: str) -> Iterator[str]:
    """Nets behind a resistor of a net that a capacitor smooths."""
    for _, other in netlist.resistors(net):
        if other != "GND" and any(netlist.parts[pin.ref].kind == "C" for pin in netlist.nets[other]):
            yield other

"""Operating points: the gate of a P-MOSFET, the bus behind a resistor, the suppressor at a jump start."""

from __future__ import annotations

from hardware.spice import runner
from hardware.twin.deck import Deck, netlist_of

OP = """
.options gmin=1e-12
.control
op
{prints}
quit
.endc
"""
LOGIC_W = 0.70
"""What the bench's own logic takes: the 1k5 loads of its four gate supplies at 12 V through 75 % (0.51 W),
Pico and logic 0.19 W (efficiency and the latter from memory)."""


def operating_point(d: Deck, prints: dict[str, str]) -> runner.Result:
    """Solve the deck at rest; ``prints``: name -> expression."""
    body = "\n".join(f"let {name} = {what}\nprint {name}" for name, what in prints.items())
    return runner.run_text(d.text(OP.format(prints=body), " ".join(prints)))


def small_main_switch(vin: float) -> runner.Result:
    """Gate to source of the small bench's two P-MOSFETs with the main switch on, and what 5 A lose there."""
    d = Deck("The small bench's P-MOSFETs", netlist_of("small"))
    switch = ("Q101", "Q102", "Q103", "D102", "D103")
    near = [ref for ref in ("R101", "R102", "R103", "R104", "R105", "R106") if ref in d.netlist.parts]
    d.take(*switch, *near)
    q101, q102 = d.pins("Q101"), d.pins("Q102")
    d.add(f"Vin n_vin 0 {vin:g}", f"Von {d.pins('Q103')['G']} 0 3.3", f"Iload {q102['D']} 0 5")
    return operating_point(
        d,
        {
            "gate_reverse_v": f"v({q101['S']})-v({q101['G']})",
            "gate_main_v": f"v({q102['S']})-v({q102['G']})",
            "lost_v": f"{vin:g}-v({q102['D']})",
        },
    )


def fed_bus(supply_v: float, ohm: float, bench: str = "reference") -> runner.Result:
    """Volts of the bridge supply fed from ``supply_v`` through ``ohm``, main switch off, VIN open."""
    d = Deck("Bridge supply fed through a resistor", netlist_of(bench))
    d.take("Q102", "Q101", "R107", "D102", "R101", "D103")
    d.add(
        f"Vfeed f 0 {supply_v:g}", f"Rfeed f n_bridge_v {ohm:g}",
        f"Blogic n_vprot 0 i = v(n_vprot) > 6.5 ? {LOGIC_W:g}/v(n_vprot) : 0.1",
        f"Rgate1 {d.pins('Q101')['G']} n_vin 1k",
        f"Rgate2 {d.pins('Q102')['G']} n_bridge_v 1k", "Rvin n_vin 0 100k",
    )  # fmt: skip
    return operating_point(d, {"bus_v": "v(n_bridge_v)", "feed_a": "-i(vfeed)"})


def jump_start(volts: float, bench: str = "reference") -> runner.Result:
    """Current of the input suppressor at a lasting ``volts`` at the terminals."""
    d = Deck("Jump start", netlist_of(bench)).take("D101")
    d.add(f"Vin n_vin 0 {volts:g}")
    return operating_point(d, {"suppressor_ma": "-1e3*i(vin)", "suppressor_w": f"-{volts:g}*i(vin)"})


CYCLE = """
.options method=gear
.control
tran 20u 200m 0 20u uic
meas tran high_v MAX v(n_bridge_v) from=50m to=200m
meas tran low_v MIN v(n_bridge_v) from=50m to=200m
meas tran on_a MAX i(vbrake)
meas tran feed_a MAX i(vfeed2) from=50m to=200m
quit
.endc
"""


def chopper_cycle(supply_v: float = 20.0, ohm: float = 10.0) -> runner.Result:
    """The brake chopper on a bridge supply that is fed through a resistor: where it turns on and off."""
    d = Deck("Brake chopper at its build step", netlist_of("reference"))
    d.take(*(f"C{n}" for n in range(104, 114)), start_v=16.0)
    d.take(
        "R108", "R109", "R110", "R111", "R112", "R113", "R114", "R115", "Q105", "R116", "R117", "D103", "Q102"
    )
    d.take("R107", "D102")
    sixth, on = d.pins("R108"), d.pins("R115")["2"]
    d.add(
        f"Vfeed f 0 {supply_v:g}", "Vfeed2 f f2 0", f"Rfeed f2 n_bridge_v {ohm:g}", "V33 n_3_3va 0 3.3",
        # comparator with open drain (about 30 Ohm), driver from 12 V, brake resistor of 1 Ohm and 2 uH
        f"Bcmp {on} 0 i = v({sixth['2']}) > v(n_supply_ref_chop) ? 0 : v({on})/30",
        f"Bdrv n_chop_gate_drv 0 v = v({on}) > 1.65 ? 12 : 0",
        "Vbrake n_bridge_v br 0", "Lbrake br br2 2u ic=0",
        "Rbrake br2 n_net_d104_a 1", f"Rgate {d.pins('Q102')['G']} n_bridge_v 1k",
        "Dfree n_net_d104_a n_bridge_v schottky5",
        f"Blogic n_vprot 0 i = v(n_vprot) > 6.5 ? {LOGIC_W:g}/v(n_vprot) : 0.1",
    )  # fmt: skip
    d.without("the comparator's own hysteresis and delay", "dead time of the driver")
    return runner.run_text(d.text(CYCLE, "high_v low_v on_a feed_a"))

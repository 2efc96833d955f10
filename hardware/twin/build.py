"""The steps of docs/build.md that apply power, on the parts that are fitted by then.

The brake chopper's step is in points.py beside this file.
"""

from __future__ import annotations

from hardware.spice import runner
from hardware.twin.deck import Deck, netlist_of
from hardware.twin.points import operating_point
from hardware.twin.vehicle import BUCK_DROP_V

BARE_LOGIC_W = 0.19
"""Pico and logic without the gate supplies (as in points.LOGIC_W)."""
LEAK_A = 0.5e-6
"""What a driver without supply and a warm MOSFET may push into a gate: engineering judgement."""


START = """
.options method=gear
.control
tran 20u 100m 0 20u uic
meas tran rail_v FIND v(n_vprot) AT=99m
meas tran five_v FIND v(five) AT=99m
meas tran feed_a FIND i(vfeed) AT=99m
quit
.endc
"""


def start_logic(limit_a: float, watts: float) -> runner.Result:
    """Steps 2 and 5: 12 V with a current limit on VIN, ideal diode bridged; what the logic comes up to."""
    d = Deck(f"Logic from {limit_a:g} A", netlist_of("reference"))
    d.take("F101", "D101", "R119").take("C102", "C103", "C116", start_v=0)
    d.add(
        f"Bfeed 0 f i = max(0, min({limit_a:g}, (12-v(f))/0.05))", "Vfeed f n_net_j101_pin_1 0",
        "Rwire n_vin n_vprot 1m",
        f"Bfive five 0 v = max(0, min(5, v(n_vprot)-{BUCK_DROP_V:g}))", "Rfive five 0 1meg",
        # the module takes what its load does, and that goes with the square of its volts
        f"Bload n_vprot 0 i = {watts:g}*(v(five)/5)^2/max(v(n_vprot), 1)",
    )  # fmt: skip
    d.without("the 5 V module's soft start and its own ripple")
    return runner.run_text(d.text(START, "rail_v five_v feed_a"))


def reversed_leads(bridged: bool) -> runner.Result:
    """Step 2: -12 V at the terminals; ``bridged``: the wire across the ideal diode is still there."""
    d = Deck("Leads turned round", netlist_of("reference")).take(
        "F101", "D101", "Q101", "D103", "Q102", "R101"
    )
    d.add("Vfeed f 0 -12", "Rfeed f n_net_j101_pin_1 0.05", f"Rgate {d.pins('Q101')['G']} n_vin 1k")
    d.add("Rgate2 n_bridge_v 0 2k2", f"Rgate3 {d.pins('Q102')['G']} n_bridge_v 1k")
    # what hangs on VPROT conducts backwards: the 5 V module's own switch
    d.add("Dmodule 0 n_vprot schottky1", "Rwire n_vin n_vprot " + ("1m" if bridged else "1g"))
    d.without("the supply's current limit", "capacitors: what lasts is looked at")
    return operating_point(d, {"feed_a": "i(vfeed)", "rail_v": "v(n_vprot)"})


def enable_chain(five_v: float, run: bool) -> runner.Result:
    """Steps 3 and 4: 3.3 V from USB; ``run``: latch, watchdog and BRIDGE_ENABLE all say yes; loop closed."""
    d = Deck(f"Enable chain, {five_v:g} V on the 5 V rail", netlist_of("reference"))
    d.take("R228", "R201", "R202", "R204", "R205", "Q201", "R515", "Q501", "R511", "R512", "R514")
    d.add(
        "V33 n_3v3 0 3.3", "V33a n_3_3va 0 3.3", f"V5 n_5v 0 {five_v:g}",
        "Rheat n_gate_drive_heat_feed n_gate_drive_heat_loop 0.1",
        "Rstop n_estop_feed n_inputs_estop_wire 0.1",
        f"Vand and 0 {3.3 if run else 0:g}", f"Rand and {d.pins('Q201')['G']} 100",
    )  # fmt: skip
    return operating_point(
        d, {"disable_v": "v(n_driver_disable)", "hard_v": "v(n_hard_n)", "loop_v": "v(n_estop_loop)"}
    )


def gates_off() -> runner.Result:
    """Step 6: gate to source of a high and a low MOSFET, drivers without supply, some leakage."""
    d = Deck("Gates without drivers", netlist_of("reference")).take("Q301", "Q302", "R217", "R219")
    high, low = d.pins("Q301"), d.pins("Q302")
    d.add(f"Ihigh 0 {high['G']} {LEAK_A:g}", f"Ilow 0 {low['G']} {LEAK_A:g}", "Rleg n_leg_a_sw 0 100k")
    d.add("Rlegs n_legs_v 0 1k")
    d.without("the drivers' own pull-down, which is stronger than the resistors")
    return operating_point(d, {"high_v": f"v({high['G']})-v(n_leg_a_sw)", "low_v": f"v({low['G']})"})


CLOSE = """
.options method=gear
.control
tran 100u 1.3 0 100u uic
meas tran ready_s WHEN v(n_bridge_v)={ready:g} CROSS=1
meas tran precharge_a MAX i(vpre) from=0 to=1.1
meas tran surge_a MAX i(vfeed) from=1.15 to=1.3
meas tran bridge_v FIND v(n_bridge_v) AT=1.29
quit
.endc
"""


def close_main(volts: float = 12.0, ohm: float = 0.05, share: float = 0.9) -> runner.Result:
    """Step 7: precharge of the bulk capacitors to ``share`` of the supply; main switch closed at 1.15 s."""
    d = Deck("Precharge and main switch", netlist_of("reference")).take(
        "F101", "R104", "Q102", "R107", "D102"
    )
    d.take("C102", "C103", start_v=volts).take(*(f"C{n}" for n in range(104, 114)), start_v=0)
    q102 = d.pins("Q102")
    pre = d.pins("R104")
    side = next(pin for pin in (pre["1"], pre["2"]) if pin != "n_bridge_v")
    d.add(
        f"Vbat b 0 {volts:g}", f"Rbat b b1 {ohm:g}", "Lcable b1 b2 2u ic=0", "Vfeed b2 n_net_j101_pin_1 0",
        "Rdiode n_vin n_vprot 3m", "Vpre n_vprot p 0", f"Rq103 p {side} 0.3",
        f"Vmain mdrv {q102['S']} PULSE(0 12 1.15 1u 1u 1 2)", f"Rmain mdrv {q102['G']} 23.5",
    )  # fmt: skip
    d.without("the logic's own current", "the firmware: the main switch closes by the clock")
    return runner.run_text(
        d.text(CLOSE.format(ready=share * volts), "ready_s precharge_a surge_a bridge_v"), timeout_s=120
    )

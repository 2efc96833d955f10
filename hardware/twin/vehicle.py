"""What a vehicle's supply does to the input: pulses of ISO 7637-2, and cranking after ISO 16750-2.

All values of both standards are **from memory** (12 V systems, the hardest level), not from their text.
"""

from __future__ import annotations

from dataclasses import dataclass

from hardware.spice import runner
from hardware.twin.deck import Deck, netlist_of
from hardware.twin.points import LOGIC_W

RESTING_V = 13.5


@dataclass(frozen=True)
class Pulse:
    """``volts`` on top of the resting supply (below 0: towards minus) behind ``ohm``; rise and 10 % width."""

    name: str
    volts: float
    ohm: float
    rise_s: float
    width_s: float


PULSES = (
    Pulse("1: an inductive load beside the bench is cut off", -150.0, 10.0, 1e-6, 2e-3),
    Pulse("2a: current in the harness is cut off", 112.0, 2.0, 1e-6, 50e-6),
    Pulse("2b: a motor goes on as a generator", 10.0, 0.05, 1e-3, 0.2),
    Pulse("3a: contacts bounce, downwards", -220.0, 50.0, 5e-9, 150e-9),
    Pulse("3b: contacts bounce, upwards", 150.0, 50.0, 5e-9, 150e-9),
)
MEASURES = "terminals_max_v terminals_min_v rail_max_v rail_min_v suppressor_a suppressor_j"
CONTROL = """
.options method=gear
.control
tran {step:g} {end:g} 0 {step:g} uic
meas tran terminals_max_v MAX v(n_vin) from={first:g} to={end:g}
meas tran terminals_min_v MIN v(n_vin) from={first:g} to={end:g}
meas tran rail_max_v MAX v(n_vprot) from={first:g} to={end:g}
meas tran rail_min_v MIN v(n_vprot) from={first:g} to={end:g}
let through = abs(i(vsup))
meas tran suppressor_a MAX through from={first:g} to={end:g}
let watts = abs(i(vsup)*v(n_vin))
meas tran suppressor_j INTEG watts from={first:g} to={end:g}
quit
.endc
"""
INPUT = {
    "reference": ("F101", "D101", "Q101", "C102", "C103"),
    "small": ("F101", "D101", "Q101", "R101", "R102", "D102", "C101"),
}


def _input(d: Deck, bench: str, start_v: float) -> Deck:
    """The input up to VPROT, the ideal diode by its body (reference), charged to ``start_v``."""
    for ref in INPUT[bench]:
        d.take(ref, start_v=start_v if ref.startswith("C") else None)
    d.between("D101", "A2" if "A2" in d.pins("D101") else "2", "Vsup {} {} 0")
    if bench == "reference":
        d.add(f"Rgate {d.pins('Q101')['G']} n_vin 1k")
        d.without("the ideal diode's controller: it blocks, or conducts by its body")
    else:
        d.take("C102", "C103", start_v=start_v)
        d.add("Rmain n_vprot n_bridge_v 25m")
        d.without("the main switch's MOSFET (closed, 25 mOhm)")
    return d.add(f"Blogic n_vprot 0 i = v(n_vprot) > 6.5 ? {LOGIC_W:g}/v(n_vprot) : 0.1")


def pulse(which: Pulse, bench: str = "reference") -> runner.Result:
    """One pulse at the terminals, after the supply has rested."""
    d = _input(Deck(f"ISO 7637-2 pulse {which.name}", netlist_of(bench)), bench, RESTING_V - 0.5)
    first = 20 * which.rise_s + 2e-6
    fall = which.width_s / 2.3026
    peak = RESTING_V + which.volts
    d.add(
        f"Vpulse g 0 EXP({RESTING_V:g} {peak:g} {first:g} {which.rise_s / 2.2:g}"
        f" {first + 3 * which.rise_s:g} {fall:g})",
        f"Rpulse g n_net_j101_pin_1 {which.ohm:g}",
    )
    d.without("inductance of the supply lead", "repetition: one pulse", "the suppressor's warming")
    end = first + 3 * which.rise_s + 4 * which.width_s
    step = min(which.rise_s, end / 4000)
    return runner.run_text(d.text(CONTROL.format(step=step, end=end, first=first * 0.9), MEASURES))


@dataclass(frozen=True)
class Crank:
    """Starting profile: lowest volts for 15 ms, then ``after_v`` while the engine turns."""

    name: str
    low_v: float
    after_v: float


CRANKS = (
    Crank("I", 8.0, 9.5),
    Crank("II", 4.5, 6.5),
    Crank("III", 3.0, 5.0),
    Crank("IV", 6.0, 6.5),
)
CRANK = """
.options method=gear
.control
tran 0.2m 1.6 0 0.2m uic
meas tran rail_min_v MIN v(n_vprot) from=5m to=1.6
meas tran five_min_v MIN v(five) from=5m to=1.6
meas tran gates_min_v MIN v(gates) from=5m to=1.6
quit
.endc
"""
BUCK_MIN_V, BUCK_DROP_V = 6.5, 1.5
"""The 5 V module: lowest input of its data sheet, and what it drops below that (from memory, judgement)."""
GATE_UVLO_V = 8.0
"""The drivers let go of the gates below this supply (data sheet, from memory)."""
MODULE_DIODE_V, PICO_MIN_V = 0.35, 1.8


def crank(which: Crank, load_a: float, bench: str = "reference") -> runner.Result:
    """The starting profile for 1.5 s; ``load_a``: what a part takes from the bridge supply meanwhile."""
    d = _input(Deck(f"Cranking {which.name}, {load_a:g} A", netlist_of(bench)), bench, 12.0)
    if bench == "reference":
        d.take(*(f"C{n}" for n in range(104, 114)), start_v=12.0)
        d.add("Rmain n_vprot n_bridge_v 5m")
        d.without("the main switch's MOSFET (closed, 5 mOhm)")
    d.add(
        f"Vcrank s 0 PWL(0 12.5 20m 12.5 25m {which.low_v:g} 40m {which.low_v:g} 90m {which.after_v:g}"
        f" 1.5 {which.after_v:g} 1.54 12.5)",
        "Rcrank s n_net_j101_pin_1 12.6m",
        f"Bload n_bridge_v 0 i = {load_a:g}*max(0, min(1, v(n_bridge_v)-1))",
        f"Bfive five 0 v = max(0, min(5, v(n_vprot)-{BUCK_DROP_V:g}))", "Rfive five 0 1k",
        "Bgates gates 0 v = 12*v(five)/5", "Rgates gates 0 1k",
    )  # fmt: skip
    d.without("the 2 V of ripple while the engine turns", "capacitors behind the 5 V module")
    return runner.run_text(d.text(CRANK, "rail_min_v five_min_v gates_min_v"))


def survives(result: runner.Result) -> str:
    """What a crank does, in words."""
    if result["five_min_v"] - MODULE_DIODE_V < PICO_MIN_V:
        return "the Pico restarts"
    if result["gates_min_v"] < GATE_UVLO_V:
        return "the drivers let go of the gates"
    return "rides through"

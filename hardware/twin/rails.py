"""Loss of each supply in time: does the gate fall while what holds it is still sure?

The enable chain's resistors and transistors come from the netlist; its chips are thresholds. Gate A's high
side is commanded on all the while, the latch is set, the watchdog is fed.
"""

from __future__ import annotations

from dataclasses import dataclass

from hardware.spice import runner
from hardware.twin.deck import Deck, netlist_of

BEGIN_S = 1e-3
SUPERVISOR_V = 3.075
"""MCP120-315: pulls HARD_N low below this (typical, from memory), down to 1 V of its own supply."""
LATCH_LOW, AND_LOW = 0.3, 0.3
"""Of 3.3 V: what HC logic is sure to read as low."""
DISABLE_HIGH_V, VCCI_UVLO_V, GATE_UVLO_V, GATE_SENSE_V = 2.0, 2.5, 7.5, 1.0
"""The drivers' thresholds (data sheet, from memory), the later end of each."""
COMPARATOR_MIN_V, AMPLIFIER_MIN_V = 1.8, 2.7
"""Below these the comparators, or the current amplifiers, are not sure any more (data sheets)."""


@dataclass(frozen=True)
class Rail:
    """One supply: its name, the node that falls, volts at rest, volts per second as its capacitors empty."""

    name: str
    node: str
    volts: float
    per_s: float


RAILS = (
    Rail("3.3 V of the Pico", "n_3v3", 3.3, 2e3),
    Rail("analog 3.3 V", "n_3_3va", 3.3, 1e3),
    Rail("5 V", "n_5v", 5.0, 3e3),
    Rail("gate supply of one high side", "gate", 12.0, 0.0),
)
"""Falls: 30 uF at 60 mA, 10 uF at 10 mA, 50 uF at 150 mA; the gate supply empties through its own load."""
CONTROL = """
.options method=gear
.control
tran 1u 8m 0 1u uic
meas tran off_at_s WHEN v(held)=1 CROSS=LAST
meas tran rail_at_off_v FIND v({node}) AT=off_at_s
meas tran held_end_v FIND v(held) AT=7.9m
meas tran held_begin_v FIND v(held) AT=0.9m
quit
.endc
"""


def _falling(rail: Rail, lost: Rail) -> str:
    if rail is not lost:
        return f"V{rail.node} {rail.node} 0 {rail.volts:g}"
    end = BEGIN_S + rail.volts / rail.per_s
    return f"V{rail.node} {rail.node} 0 PWL(0 {rail.volts:g} {BEGIN_S:g} {rail.volts:g} {end:g} 0)"


def deck(lost: Rail, bench: str = "reference") -> str:
    """The enable chain while ``lost`` falls from 1 ms on."""
    d = Deck(f"{bench}: {lost.name} is lost", netlist_of(bench))
    feed = "R228" if bench == "reference" else "R215"
    d.take(feed, "R201", "R202", "R204", "R205", "Q201", "R515", "Q501", "R511", "R512", "C510", "R514")
    and_out = d.pins("Q201")["G"]
    d.add(*(_falling(rail, lost) for rail in RAILS[:3]))
    d.add(
        # heat switch and stop loop closed
        "Rheat n_gate_drive_heat_feed n_gate_drive_heat_loop 0.1",
        "Rstop n_estop_feed n_inputs_estop_wire 0.1",
        # supervisor; latch that stays cleared; AND of what still says yes
        f"Bsup n_hard_n 0 i = (v(n_3v3) < {SUPERVISOR_V:g} && v(n_3v3) > 1) ? v(n_hard_n)/50 : 0",
        "Cq q 0 1n ic=1",
        f"Bclear q 0 i = v(n_hard_n) < {LATCH_LOW:g}*v(n_3v3) || v(n_3v3) < 1 ? v(q)/100 : 0", "Rq q 0 1g",
        "Band and 0 v = v(q) > 0.5 ? v(n_3v3) : 0", f"Rand and {and_out} 100",
    )  # fmt: skip
    _gate(d, lost, bench)
    d.without(
        "the supplies' own collapse (a straight fall)", "delays of the chips, some tens of nanoseconds",
        "the Pico's pins: command and watchdog go on as before",
    )  # fmt: skip
    return d.text(
        CONTROL.format(node=lost.node),
        "off_at_s rail_at_off_v held_end_v held_begin_v",
    )


def _gate(d: Deck, lost: Rail, bench: str) -> None:
    if bench == "small":  # INH of a half-bridge, from two NOR gates
        d.add("Binh held 0 v = v(n_driver_disable) < 0.5*v(n_3v3) && v(n_3v3) > 1 ? v(n_3v3) : 0")
        return
    d.take("R225", "R216", "R217").take("C210", start_v=12.0)
    # its converter, until it fails
    fed = f"time < {BEGIN_S:g}" if lost.node == "gate" else "time >= 0"
    d.add(f"Bfeed n_leg_a_sw n_ah_12v i = {fed} ? (12-v(n_ah_12v)+v(n_leg_a_sw))/10 : 0")
    source, out = "n_leg_a_sw", d.pins("R216")["1"]
    gate = d.pins("R216")["2"]
    d.add(
        "Rleg n_leg_a_sw 0 1", "Bgate gate 0 v = v(n_ah_12v)-v(n_leg_a_sw)",
        # the driver: its input side, its disable pin, its output side
        f"Bdrv drv {source} v = (v(n_3v3) > {VCCI_UVLO_V:g} && v(n_driver_disable) < {DISABLE_HIGH_V:g}"
        f" && v(gate) > {GATE_UVLO_V:g}) ? v(gate) : 0", f"Rdrv drv {out} 1.5",
        f"Cgate {gate} {source} 6n ic=12", f"Bheld held 0 v = v({gate})-v({source})",
    )  # fmt: skip


def lose(lost: Rail, bench: str = "reference") -> runner.Result:
    """Seconds (from the loss on) at which the gate, or INH, has fallen to 1 V, and the rail's volts then."""
    r = runner.run_text(deck(lost, bench))
    return runner.Result({**r.measures, "after_s": r["off_at_s"] - BEGIN_S})

"""The bridge at 37 A with the inductance of shunt and track: what the MOSFETs and the sense pair see."""

from __future__ import annotations

from hardware.checks.netlist import Netlist
from hardware.spice import runner
from hardware.twin import copper
from hardware.twin.deck import Deck, moved, netlist_of

BULK = [f"C{n}" for n in range(104, 114)]
CERAMIC = [f"C{n}" for n in range(303, 309)]
BRIDGE = ["Q301", "Q302", "Q303", "Q304", "R216", "R218", "R221", "R223", "R217", "R219", "R222", "R224"]
SNUBBERS = {"R305": ("1", "OUT_A", "LEG_A_SW"), "R308": ("1", "OUT_B", "LEG_B_SW")}
"""Snubber resistor -> its pad at the output, the net behind the shunt, the net of the leg."""
MEASURES = "low_v high_v sense_high_v sense_low_v mean_a monitor_a"
CONTROL = """
.options method=gear reltol=1e-3
.control
tran 2n 200u 100u 5n uic
let sense = v(n_shunt_a_p)-v(n_shunt_a_n)
let low = v(n_leg_a_sw)-v(q302_s)
let high = v(q301_d)-v(n_leg_a_sw)
meas tran low_v MAX low from=110u to=200u
meas tran high_v MAX high from=110u to=200u
meas tran sense_high_v MAX sense from=110u to=200u
meas tran sense_low_v MIN sense from=110u to=200u
let monitored = (v(n_i_supply)-1.65)/10m
meas tran monitor_a MAX monitored from=110u to=200u
meas tran mean_a AVG i(lmotor) from=110u to=160u
quit
.endc
"""


def with_snubbers(netlist: Netlist, at_leg: bool) -> Netlist:
    """The netlist with the snubbers behind the shunts (as first drawn) or at the legs."""
    for ref, (pad, behind, leg) in SNUBBERS.items():
        netlist = moved(netlist, ref, pad, leg if at_leg else behind)
    return netlist


def deck(netlist: Netlist, shunt_nh: float) -> str:
    """The whole bridge, leg A switching at 20 kHz and half duty, leg B's low side on, 37 A in the motor.

    The switching loop's inductance is that of the routed board and of the packages.
    """
    d = Deck(f"Bridge, shunt and track {shunt_nh:g} nH", netlist)
    d.take(*BULK, *CERAMIC, start_v=12).take(*BRIDGE, "R301", "R302", "R305", "C301", "R308", "C302", "R309")
    high, low = copper.high_nh("leg A"), copper.low_nh("leg A")
    d.between("Q301", "D", f"Lhot {{}} {{}} {high:g}n ic=0")
    d.between("Q302", "S", f"Lground {{}} {{}} {low:g}n ic=0")
    d.add(
        "Vs s 0 12", "Ls s s1 500n ic=18", "Rs s1 n_bridge_v 8m",
        # drivers as sources behind 1.5 Ohm, 510 ns of dead time
        "Vah ah n_leg_a_sw PULSE(0 12 1.51u 10n 10n 24.48u 50u)", "Rah ah n_net_u205_outa 1.5",
        "Val al 0 PULSE(12 0 1u 10n 10n 25.5u 50u)", "Ral al n_net_u205_outb 1.5",
        "Rbh n_net_u206_outa n_leg_b_sw 1.5", "Vbl bl 0 12", "Rbl bl n_net_u206_outb 1.5",
        "Lmotor n_out_a m1 100u ic=37", "Rmotor m1 m2 0.1", "Vmotor m2 n_out_b 2.2",
    )  # fmt: skip
    d.take("R310").take("C309", start_v=1.65)
    d.add(
        "Vref ref 0 1.65",
        "Xamp n_supply_p n_supply_n ref amp senseamp gain=20",
        "Eamp n_net_r310_pad1 0 amp 0 1",
    )
    d.without("inductance of gate loops and of capacitors", "skin effect", "the drivers' own delays")
    return d.text(CONTROL, MEASURES, [f"lshunt={shunt_nh:g}n"])


def run(shunt_nh: float | None = None, at_leg: bool | None = None) -> runner.Result:
    """Simulate; ``at_leg`` None: as the drawing has the snubbers; ``shunt_nh`` None: as on the board."""
    netlist = netlist_of("reference")
    if at_leg is not None:
        netlist = with_snubbers(netlist, at_leg)
    return runner.run_text(deck(netlist, copper.shunt_nh("leg A") if shunt_nh is None else shunt_nh))

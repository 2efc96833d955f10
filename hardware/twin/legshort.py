"""One MOSFET of the bridge shorted, its partner switched on: fuse, main switch, and what opening it does."""

from __future__ import annotations

from hardware.checks.netlist import Netlist, parse_ohm
from hardware.spice import runner
from hardware.twin import copper
from hardware.twin.deck import Deck, netlist_of
from hardware.twin.switching import BULK, CERAMIC, SNUBBERS

SHORT_OHM = 0.018
"""A failed MOSFET: from a few milliohm on; this one as in the page's table."""
FIRMWARE_S = 2e-3
"""The firmware sees the supply collapse and opens the main switch; until then nothing on the board does."""
PARTNER = {"Q301": "Q302", "Q302": "Q301", "Q303": "Q304", "Q304": "Q303"}
GATE = {"Q301": "R217", "Q302": "R219", "Q303": "R222", "Q304": "R224"}
DELAY_S = 80e-9 + 40e-9 + 300e-9 + 60e-9
"""Behind the comparator's input: its own, latch and AND, rise of DRIVER_DISABLE (4k7, 60 pF), driver."""
WATCH_S = 20e-6
"""What is simulated of a short that the monitor ends."""
MEASURES = "peak_a at_open_a i2t_a2s terminals_v rail_v suppressor_a suppressor_j"
CONTROL = """
.options method=gear reltol=1e-3
.control
tran {step} {end} 0 {step} uic
meas tran peak_a MAX i(vshort)
meas tran at_open_a FIND i(lcable) AT={before}
let square = i(vshort)*i(vshort)
meas tran i2t_a2s INTEG square
meas tran terminals_v MAX v(n_vin)
meas tran rail_v MAX v(n_vprot)
let through = i(vsup)
meas tran suppressor_a MAX through from=1u
let watts = through*v(n_vin)
meas tran suppressor_j INTEG watts
quit
.endc
"""


def threshold_v(netlist: Netlist) -> float:
    """Upper threshold of the ladder that hard trip and monitor share."""
    top, middle, bottom = (parse_ohm(netlist.parts[ref].value) for ref in ("R404", "R405", "R406"))
    return 3.3 * (middle + bottom) / (top + middle + bottom)


def deck(shorted: str, monitor: bool = True, short_ohm: float = SHORT_OHM) -> str:
    """``shorted``: the failed MOSFET; its partner is on from 1 us on, as is Q102, until the latch falls.

    Without the ``monitor`` the firmware opens both at :data:`FIRMWARE_S`.
    """
    partner = PARTNER[shorted]
    netlist = netlist_of("reference")
    d = Deck(f"{shorted} shorted, {partner} on", netlist)
    d.take("F101", "Q101", "Q102", partner, GATE[partner], "R309")
    d.take(*BULK, *CERAMIC, start_v=12.6).take("C102", "C103", start_v=12.6)
    for ref in SNUBBERS:
        d.take(ref, "C301" if ref == "R305" else "C302")
    d.take("R301", "R302", "D101", "R310").take("C309", start_v=1.65)
    leg = "n_leg_a_sw" if partner in ("Q301", "Q302") else "n_leg_b_sw"
    high = partner in ("Q301", "Q303")
    pins, main = d.pins(partner), d.pins("Q102")
    side = "leg A" if partner in ("Q301", "Q302") else "leg B"
    loop_nh = copper.high_nh(side) + copper.low_nh(side)
    d.between(partner, "D", f"Lhot {{}} {{}} {loop_nh:g}n ic=0").between("D101", "A2", "Vsup {} {} 0")
    open_s = 1.0 if monitor else FIRMWARE_S
    level_v = threshold_v(netlist) if monitor else 99.0
    d.add(
        # battery, 1.5 m of 8 AWG there and back (2 uH), copper of the board up to the legs
        "Vbat b0 0 12.6", "Rbat b0 b1 6m", "Lcable b1 b2 2u ic=0",
        f"Rcable b2 n_net_j101_pin_1 {6.6e-3 + copper.upstream_ohm():g}",
        f"Vshort {leg if high else 'n_legs_v'} sh 0", f"Rshort sh {'0' if high else leg} {short_ohm:g}",
        # monitor: amplifier, comparator, all that follows as a delay, a latch that stays
        "Vref ref 0 1.65", "Xamp n_supply_p n_supply_n ref amp senseamp gain=20",
        "Eamp n_net_r310_pad1 0 amp 0 1",
        f"Bcmp cmp 0 v = v(n_i_supply) > {level_v:.4f} ? 1 : 0",
        f"Tcmp cmp 0 cmpd 0 z0=50 td={DELAY_S:g}", "Rcmp cmpd 0 50",
        "Blatch 0 q i = (v(cmpd) > 0.5 && v(q) < 1) ? 1 : 0", "Cq q 0 1n ic=0", "Rq q 0 1g",
        f"Von on 0 PULSE(0 1 1u 50n 300n {open_s - 1e-6:g} 2)",
        f"Bgate drv {pins['S']} v = 12*v(on)*(v(q) < 0.5 ? 1 : 0)", f"Rgate drv {pins['G']} 16.5",
        # ideal diode held on, the main switch opened by its driver
        "Vq101 {} {} 12".format(d.pins("Q101")["G"], d.pins("Q101")["S"]),
        f"Vmain mon 0 PULSE(1 0 {open_s:g} 300n 300n 2 4)",
        f"Bmain mdrv {main['S']} v = 12*v(mon)*(v(q) < 0.5 ? 1 : 0)", f"Rmain mdrv {main['G']} 23.5",
        "Rlegs n_out_a n_out_b 1meg", "Rtie n_leg_a_sw n_leg_b_sw 1meg",
    )  # fmt: skip
    d.without(
        "the ideal diode's controller (held on)",
        "heating of MOSFETs, short and fuse while the current flows",
        "charge of the battery's own plates",
        "the part on the outputs",
    )
    if monitor:
        control = CONTROL.format(step="10n", end=f"{WATCH_S:g}", before="3u")
    else:
        control = CONTROL.format(step="100n", end="2.2m", before=f"{FIRMWARE_S - 0.2e-6:g}")
    return d.text(control, MEASURES, [f"lshunt={copper.shunt_nh(side):g}n"])


def run(shorted: str = "Q302", monitor: bool = True, short_ohm: float = SHORT_OHM) -> runner.Result:
    """Simulate."""
    return runner.run_text(deck(shorted, monitor, short_ohm))

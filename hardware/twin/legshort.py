"""One MOSFET of the bridge shorted, its partner switched on: fuse, main switch, and what opening it does."""

from __future__ import annotations

from hardware.spice import runner
from hardware.twin.deck import Deck, netlist_of
from hardware.twin.switching import BULK, CERAMIC, SNUBBERS

SHORT_OHM = 0.018
"""A failed MOSFET: from a few milliohm on; this one as in the page's table."""
FIRMWARE_S = 2e-3
"""The firmware sees the supply collapse and opens the main switch; until then nothing on the board does."""
PARTNER = {"Q301": "Q302", "Q302": "Q301", "Q303": "Q304", "Q304": "Q303"}
GATE = {"Q301": "R217", "Q302": "R219", "Q303": "R222", "Q304": "R224"}
MEASURES = "peak_a at_open_a i2t_a2s terminals_v rail_v suppressor_a suppressor_j"
CONTROL = """
.options method=gear reltol=1e-3
.control
tran 50n 2.2m 0 {step} uic
meas tran peak_a MAX i(vshort)
meas tran at_open_a FIND i(lcable) AT={before}
let square = i(vshort)*i(vshort)
meas tran i2t_a2s INTEG square from=0 to={open}
meas tran terminals_v MAX v(n_vin) from={open} to=2.2m
meas tran rail_v MAX v(n_vprot) from={open} to=2.2m
let through = i(vsup)
meas tran suppressor_a MAX through from={open} to=2.2m
let watts = through*v(n_vin)
meas tran suppressor_j INTEG watts from={open} to=2.2m
quit
.endc
"""


def deck(shorted: str, open_s: float = FIRMWARE_S, short_ohm: float = SHORT_OHM) -> str:
    """``shorted``: the failed MOSFET; its partner is on from 1 us until ``open_s``, as is Q102."""
    partner = PARTNER[shorted]
    d = Deck(f"{shorted} shorted, {partner} on", netlist_of("reference"))
    d.take("F101", "Q101", "Q102", partner, GATE[partner]).take(*BULK, *CERAMIC, start_v=12.6)
    d.take("C102", "C103", start_v=12.6)
    for ref in SNUBBERS:
        d.take(ref, "C301" if ref == "R305" else "C302")
    d.take("R301", "R302").take("D101")
    leg = "n_leg_a_sw" if partner in ("Q301", "Q302") else "n_leg_b_sw"
    high = partner in ("Q301", "Q303")
    pins = d.pins(partner)
    d.between(partner, "D", "Lhot {} {} 5n ic=0").between("D101", "A2", "Vsup {} {} 0")
    d.add(
        # battery, 1.5 m of 8 AWG there and back (2 uH)
        "Vbat b0 0 12.6", "Rbat b0 b1 6m", "Lcable b1 b2 2u ic=0", "Rcable b2 n_net_j101_pin_1 6.6m",
        f"Vshort {'n_bridge_v' if not high else leg} sh 0",
        f"Rshort sh {leg if not high else '0'} {short_ohm:g}",
        f"Vgate {pins['G']} {pins['S']} PULSE(0 12 1u 50n 300n {open_s - 1e-6:g} 1)",
        # ideal diode held on, the main switch opened by its driver
        "Vq101 {} {} 12".format(d.pins("Q101")["G"], d.pins("Q101")["S"]),
        "Vq102 {} {} PULSE(12 0 {:g} 300n 300n 1 2)".format(d.pins("Q102")["G"], d.pins("Q102")["S"], open_s),
        "Rlegs n_out_a n_out_b 1meg", "Rtie n_leg_a_sw n_leg_b_sw 1meg",
    )  # fmt: skip
    d.without(
        "the ideal diode's controller (held on)",
        "heating of MOSFETs, short and fuse while the current flows",
        "charge of the battery's own plates",
        "the part on the outputs",
    )
    step = "100n" if open_s > 1e-4 else "20n"
    control = CONTROL.format(open=f"{open_s:g}", before=f"{open_s - 0.2e-6:g}", step=step)
    return d.text(control, MEASURES, ["lshunt=3n"])


def run(shorted: str = "Q302", open_s: float = FIRMWARE_S, short_ohm: float = SHORT_OHM) -> runner.Result:
    """Simulate."""
    return runner.run_text(deck(shorted, open_s, short_ohm))

"""Load dump of ISO 16750-2 (test A) into the input's suppressor; hot plug of the supply lead."""

from __future__ import annotations

from hardware.spice import runner
from hardware.twin.deck import Deck, netlist_of

RATED_J = 2.0
"""A 1500 W suppressor in its 10/1000 us pulse: 1500 W x 1 ms x 1.4 (common practice of data sheets)."""
DUMPS = (
    (79.0, 4.0, 0.040),
    (79.0, 4.0, 0.400),
    (101.0, 4.0, 0.400),
    (101.0, 0.5, 0.040),
    (101.0, 0.5, 0.400),
)
"""Volts, internal Ohm, seconds: corners of the standard's ranges for 12 V without central suppression. The
values come from excerpts, not from the standard's own text."""
MEASURES = "clamp_v peak_a energy_j"
CONTROL = """
.options method=gear
.control
tran {step:g} {end:g} 0 {step:g}
meas tran clamp_v MAX v(n_vin)
let amps = i(vsup)
meas tran peak_a MAX amps
let watts = amps*v(n_vin)
meas tran energy_j INTEG watts
quit
.endc
"""


def load_dump(volts: float, ohm: float, seconds: float, bench: str = "reference") -> runner.Result:
    """``volts`` is the pulse's peak above 0 with 14 V before it; it rises in 5 ms and falls exponentially."""
    d = Deck(f"Load dump {volts:g} V {ohm:g} Ohm {1e3 * seconds:g} ms", netlist_of(bench)).take("D101")
    d.between("D101", "A2", "Vsup {} {} 0")
    # td is from 10 to 10 % of the pulse: the fall's time constant is td / ln 10
    d.add(f"Vdump g 0 EXP(14 {volts:g} 1m 2m 8m {seconds / 2.3026:g})", f"Rdump g n_vin {ohm:g}")
    d.without(
        "the suppressor's warming (it fails before the pulse is over)", "the ideal diode and all behind it"
    )
    end, step = 0.02 + 3 * seconds, seconds / 2000
    return runner.run_text(d.text(CONTROL.format(step=step, end=end), MEASURES))


PLUG = """
.options method=gear
.control
tran 20n 200u 0 20n uic
meas tran terminals_v MAX v(n_vin)
meas tran rail_v MAX v(n_vprot)
meas tran inrush_a MAX i(lcable)
quit
.endc
"""


def hot_plug(volts: float, bench: str = "reference") -> runner.Result:
    """The supply lead (2 uH, 12.6 mOhm) put onto the discharged bench: a body diode conducts."""
    d = Deck("Hot plug", netlist_of(bench)).take("F101", "D101", "Q101")
    d.take(*(("C102", "C103") if bench == "reference" else ("C101",)), start_v=0)
    d.add(f"Vbat b0 0 {volts:g}", "Rbat b0 b1 12.6m", "Lcable b1 n_net_j101_pin_1 2u ic=0")
    d.add(f"Rgate {d.pins('Q101')['G']} n_vin 1k")
    d.without("the converters' input current")
    return runner.run_text(d.text(PLUG, "terminals_v rail_v inrush_a"))

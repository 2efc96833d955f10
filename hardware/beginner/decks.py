"""Decks of the beginner's bench from its netlist: stop button, touching leads, USB pulled out.

Relay, modules, amplifier, comparators and gates are behavioural, with the figures of values.py; the rest are
the drawing's parts.
"""

from __future__ import annotations

from hardware.beginner import values
from hardware.checks.netlist import Netlist
from hardware.spice import runner
from hardware.twin.deck import Deck, netlist_of

RELAY = (
    "Lcoil n_stop_12v coil 0.35 ic={start}", "Rcoil coil coil2 80", "Vcoil coil2 n_coil_n 0",
    "Wcontact n_vin n_bridge_v Vcoil relay {state}",
    ".model relay csw(it=0.055 ih=0.025 ron=10m roff=10meg)",
)  # fmt: skip
"""Closes at 80 mA of its 150, opens at 30: an ordinary 12 V relay, from memory; 4 ms coil time constant."""
STOP_AT_S, USB_AT_S = 20e-3, 20e-3
LOAD_OHM = 4.0
SUPPLY = ("Vbat bat 0 12", "Rbat bat b1 0.05", "Lcable b1 n_vin 2u ic=0")
ENABLE_PARTS = ("R15", "R16", "R17", "Q1", "Q2", "R18", "R19", "R42", "R43")


def drawn() -> Netlist:
    """The exported netlist."""
    return netlist_of("beginner")


def _supply(title: str, netlist: Netlist | None) -> Deck:
    d = Deck(title, drawn() if netlist is None else netlist)
    d.take("D3", "D2", "D4", "R2", "D1", "R3", "D6", "Q3", "R20", *ENABLE_PARTS).take("C1", "C2", start_v=12)
    d.add(*SUPPLY, *(line.format(start="0.13", state="on") for line in RELAY))
    # the level of a gate's output follows its supply
    d.add("Ben n_a_en_raw 0 v = v(n_disable) < 0.5*v(n_3v3a) && v(n_3v3a) > 1 ? v(n_3v3a) : 0")
    d.add(
        "Rben n_a_en_raw n_a_en 50",
        "Vload n_bridge_v load 0",
        f"Bload load 0 i = v(n_a_en) > 1.5 ? v(load)/{LOAD_OHM:g} : 0",
    )
    d.without("the relay's contact bounce", "the Pico: it goes on asking for full drive, as if it hung")
    return d


STOP = """
.options method=gear
.control
tran 20u 220m 0 20u uic
meas tran before_a FIND i(vload) AT=19m
meas tran disable_end_v FIND v(n_disable) AT=219m
meas tran open_s WHEN i(vcoil)=0.03 CROSS=LAST
meas tran load_end_a FIND i(vload) AT=219m
meas tran coil_end_a FIND i(vcoil) AT=219m
meas tran stop_end_v FIND v(n_stop_12v) AT=219m
quit
.endc
"""


def press_stop(netlist: Netlist | None = None) -> runner.Result:
    """The stop button opens at 20 ms while 3 A flow and everything else says go."""
    d = _supply("Stop button", netlist)
    d.add(
        "V33 n_3v3a 0 3.3", "Vrun n_run 0 3.3", "Vmain n_main_on 0 3.3",
        f"Vctl ctl 0 PWL(0 1 {STOP_AT_S:g} 1 {STOP_AT_S + 1e-6:g} 0)",
        "Sstop n_prot n_stop_12v ctl 0 button on",
        ".model button sw(vt=0.5 vh=0.1 ron=20m roff=100meg)",
    )  # fmt: skip
    names, control = "before_a open_s load_end_a coil_end_a stop_end_v disable_end_v", STOP
    if netlist is not None:  # a relay that never opens has no moment at which it does
        names = names.replace("open_s ", "")
        control = STOP.replace("meas tran open_s WHEN i(vcoil)=0.03 CROSS=LAST\n", "")
    return runner.run_text(d.text(control, names), timeout_s=120)


USB = """
.options method=gear
.control
tran 20u 120m 0 20u uic
meas tran before_a FIND i(vload) AT=19m
meas tran off_s WHEN v(n_a_en)=0.8 CROSS=LAST
meas tran en_end_v MAX v(n_a_en) from=60m to=119m
meas tran coil_end_a FIND i(vcoil) AT=119m
meas tran load_end_a MAX i(vload) from=60m to=119m
quit
.endc
"""


def lose_usb() -> runner.Result:
    """The 3.3 V of everything falls from 20 ms on, within 3 ms, while 3 A flow."""
    d = _supply("USB pulled out", None)
    fall = f"PWL(0 3.3 {USB_AT_S:g} 3.3 {USB_AT_S + 3e-3:g} 0)"
    d.add(
        f"V33 n_3v3a 0 {fall}", f"Vrun n_run 0 {fall}", f"Vmain n_main_on 0 {fall}",
        "Rstop n_prot n_stop_12v 20m",
    )  # fmt: skip
    return runner.run_text(d.text(USB, "before_a off_s en_end_v coil_end_a load_end_a"), timeout_s=120)


SHORT = """
.options method=gear
.control
tran 10n 60u 0 10n uic
let size = {sign}*i(vsense)
meas tran steady_a FIND size AT=19.9u
meas tran peak_a MAX size from=20u to=45u
meas tran trip_s WHEN v(n_trip_n)=1.0 TD=20u FALL=1
meas tran off_s WHEN v(en)=0.5 TD=20u FALL=1
quit
.endc
"""


def touch_leads(
    sign: int = 1, limit_a: float = values.PEAK_A, volts: float = values.SUPPLY_V
) -> runner.Result:
    """Leads of 2 uH touch at 20 us while 3 A flow; only TRIP_N takes the enable away."""
    d = Deck("Leads touch", drawn())
    d.take("R4", "R5", "R8", "R9", "R10", "R11", "R12", "R13", "R15", "R16", "R17", "Q1", "Q2", "R18", "R19")
    d.take("C3", start_v=values.level_v(3.0 * sign)).take("C6", start_v=values.level_v(limit_a))
    here, there = ("n_leg_a_sw", "n_out_b") if sign > 0 else ("n_out_b", "n_leg_a_sw")
    d.add(
        f"Vbus bus 0 {volts:g}", "V33 n_3v3a 0 3.3", "Vstop n_stop_12v 0 12",
        f"Vlevel n_trip_scaled 0 {values.level_v(limit_a):g}",
        # amplifier: one pole at 400 kHz about 1.65 V
        f"Braw raw 0 v = 1.65 + {values.COARSE:g}*(v(n_shunt_p)-v(n_shunt_n))", "Rraw raw rawf 1k",
        f"Craw rawf 0 398p ic={values.level_v(3.0 * sign):g}", "Eraw n_i_raw 0 rawf 0 1",
        # comparators, late by what values.py says, open collectors
        "Bcmp cmp 0 v = (v(n_i_coarse) > v(n_trip_hi) || v(n_trip_sum) < v(n_middle)) ? 1 : 0",
        f"Tcmp cmp 0 late 0 z0=50 td={values.COMPARATOR_S:g}", "Rlate late 0 50",
        "Strip n_trip_n 0 late 0 sink", ".model sink sw(vt=0.5 vh=0.05 ron=60 roff=10meg)",
        "Ctrip n_trip_n 0 30p ic=3.3", "Brun n_run 0 v = v(n_trip_n) > 1.65 ? 3.3 : 0",
        "Cdis n_disable 0 30p ic=0.1",
        # the module: its enable acts late; both switches of the path open, diodes take the current back
        "Ben want 0 v = v(n_disable) < 1.65 ? 1 : 0",
        f"Ten want 0 en 0 z0=50 td={values.MODULE_OFF_S:g}", "Ren en 0 50",
        f"Shigh bus {here} en 0 fet", f"Slow {there} 0 en 0 fet",
        ".model fet sw(vt=0.5 vh=0.1 ron=16m roff=1meg)",
        f"Dhigh {there} bus body", f"Dlow 0 {here} body", ".model body d(is=1n n=1.2 rs=5m)",
        # the load's 3 A, then the short behind 1 m of leads
        f"Vsense n_out_a x {0}", f"Llead x y {values.LEAD_H:g} ic={3.0 * sign:g}", "Rlead y z 30m",
        f"Rload z {'n_out_b'} {volts / 3.0 - 0.072:g}", "Sshort z n_out_b tick 0 touch",
        ".model touch sw(vt=0.5 vh=0.1 ron=5m roff=1meg)", "Vtick tick 0 PWL(0 0 20u 0 20.01u 1)",
    )  # fmt: skip
    d.without("modules' own current limit", "the Pico and its PIO", "bulk capacitors' drop")
    return runner.run_text(
        d.text(SHORT.replace("{sign}", str(sign)), "steady_a peak_a trip_s off_s", ["lshunt=2n"]),
        timeout_s=120,
    )

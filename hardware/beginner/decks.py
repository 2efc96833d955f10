"""Decks of the beginner's bench from its netlist: stop button, touching leads, USB pulled out, a dead Pico.

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
STOP_AT_S, USB_AT_S, DEAD_AT_S = 20e-3, 20e-3, 20e-3
LOAD_OHM = 4.0
SUPPLY = ("Vbat bat 0 {volts:g}", "Rbat bat b1 0.05", "Lcable b1 n_vin 2u ic=0")
STOP_PARTS = ("R12", "R13", "R15")
HALF = 0.5
"""Of their supply: where gates change over."""


def drawn() -> Netlist:
    """The exported netlist."""
    return netlist_of("beginner")


def _supply(title: str, netlist: Netlist | None, volts: float = values.SUPPLY_V) -> Deck:
    d = Deck(title, drawn() if netlist is None else netlist)
    d.take("D3", "D2", "D4", "R2", "D1", "R3", "D5", "Q1", "R14", *STOP_PARTS).take("C1", "C2", start_v=volts)
    d.add(
        *(line.format(volts=volts) for line in SUPPLY),
        *(line.format(start="0.13", state="on") for line in RELAY),
    )
    # The watchdog's one-shot: the stop button clears it at once, and the next sign of life comes within 4 ms.
    # Then the gates. An output follows its supply.
    d.add(f"Rpull n_stop_ok 0 {values.PULL_DOWN_OHM:g}")
    yes = f"{HALF}*v(n_3v3a) && v(n_3v3a) > 1 ? v(n_3v3a) : 0"
    d.add(
        f"Bshot shot 0 v = v(fed) > 0.5 && v(n_stop_ok) > {HALF}*v(n_3v3a) ? 2 : 0",
        "Rshot shot wait 4k", "Cwait wait 0 1u ic=2", "Dshot wait shot quick", ".model quick d(is=1n rs=10)",
        "Blatch n_latch_ok 0 v = v(wait) > 1.4 && v(n_3v3a) > 1 ? v(n_3v3a) : 0",
        f"Bon on_raw 0 v = v(n_latch_ok) > {yes}", "Ron on_raw n_modules_on 50", "Con n_modules_on 0 1n ic=3",
        f"Bmain main_raw 0 v = v(n_latch_ok) > {yes}", "Rmain main_raw n_main_on 50",
        "Cmain n_main_on 0 1n ic=3", "Cstop n_stop_ok 0 1n ic=3",
        "Vload n_bridge_v load 0",
        f"Bload load 0 i = v(n_modules_on) > 1.5 ? v(load)/{LOAD_OHM:g} : 0",
    )  # fmt: skip
    d.without("the relay's contact bounce", "the Pico: it goes on asking for full drive, as if it hung")
    return d


STOP = """
.options method=gear
.control
tran 20u 220m 0 20u uic
meas tran before_a FIND i(vload) AT=19m
meas tran on_end_v FIND v(n_modules_on) AT=219m
meas tran off_s WHEN v(n_modules_on)=0.8 FALL=1 TD=19m
meas tran open_s WHEN i(vcoil)=0.03 CROSS=LAST
meas tran load_end_a FIND i(vload) AT=219m
meas tran coil_end_a FIND i(vcoil) AT=219m
meas tran stop_end_v FIND v(n_stop_12v) AT=219m
quit
.endc
"""


def press_stop(netlist: Netlist | None = None, volts: float = values.SUPPLY_V) -> runner.Result:
    """The stop button opens at 20 ms while 3 A flow and everything else says go."""
    d = _supply("Stop button", netlist, volts)
    d.add(
        "V33 n_3v3a 0 3.3", "Vfed fed 0 1",
        f"Vctl ctl 0 PWL(0 1 {STOP_AT_S:g} 1 {STOP_AT_S + 1e-6:g} 0)",
        "Sstop n_prot n_stop_12v ctl 0 button on",
        ".model button sw(vt=0.5 vh=0.1 ron=20m roff=100meg)",
    )  # fmt: skip
    names, control = "before_a off_s open_s load_end_a coil_end_a stop_end_v on_end_v", STOP
    if netlist is not None:  # what never ends has no moment at which it does
        names = names.replace("off_s open_s ", "")
        control = "\n".join(line for line in STOP.splitlines() if " WHEN " not in line)
    return runner.run_text(d.text(control, names), timeout_s=120)


USB = """
.options method=gear
.control
tran 20u 120m 0 20u uic
meas tran before_a FIND i(vload) AT=19m
meas tran off_s WHEN v(n_modules_on)=0.8 FALL=1 TD=19m
meas tran on_end_v MAX v(n_modules_on) from=60m to=119m
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
        f"V33 n_3v3a 0 {fall}", "Vfed fed 0 1", "Rstop n_prot n_stop_12v 20m",
    )  # fmt: skip
    return runner.run_text(d.text(USB, "before_a off_s on_end_v coil_end_a load_end_a"), timeout_s=120)


def lose_pico() -> runner.Result:
    """The Pico gives its last sign of life at 20 ms and goes on asking for full drive; 3 A flow."""
    d = _supply("Pico hangs", None)
    ends_s = DEAD_AT_S + values.WATCHDOG_S
    d.add("V33 n_3v3a 0 3.3", f"Vfed fed 0 PWL(0 1 {ends_s:g} 1 {ends_s + 1e-6:g} 0)")
    d.add("Rstop n_prot n_stop_12v 20m")
    return runner.run_text(d.text(USB, "before_a off_s on_end_v coil_end_a load_end_a"), timeout_s=120)


def turned_round() -> runner.Result:
    """The battery is connected the wrong way round while the main switch is on."""
    d = Deck("Battery turned round", drawn())
    d.take("D3", "D2", "D4", "R2", "D1", "R3", "D5", "Q1", "R14", *STOP_PARTS).take("C1", "C2", start_v=0)
    d.add("Vbat n_vin 0 PWL(0 0 1m -12)", *(line.format(start="0", state="off") for line in RELAY))
    d.add("V33 n_3v3a 0 0", "Rmain n_main_on 0 1k", "Rstop n_prot n_stop_12v 20m", "Ron n_modules_on 0 1k")
    d.without("what is inside the modules: the relay's open contact is before them")
    return runner.run_text(d.text(TURNED, "bus_end_v stop_end_v coil_end_a"), timeout_s=120)


TURNED = """
.options method=gear
.control
tran 20u 120m 0 20u uic
meas tran bus_end_v FIND v(n_bridge_v) AT=119m
meas tran stop_end_v FIND v(n_stop_12v) AT=119m
meas tran coil_end_a FIND i(vcoil) AT=119m
quit
.endc
"""


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
    d.take("R4", "R5", "R6", "R7", "R8", "R9", "R10", "R15").take("C3", start_v=values.level_v(limit_a))
    here, there = ("n_leg_a_sw", "n_out_b") if sign > 0 else ("n_out_b", "n_leg_a_sw")
    d.add(
        f"Vbus bus 0 {volts:g}", "V33 n_3v3a 0 3.3",
        f"Vlevel n_trip_scaled 0 {values.level_v(limit_a):g}",
        # amplifier: one pole at 400 kHz about 1.65 V
        f"Braw raw 0 v = 1.65 + {values.GAIN:g}*(v(n_shunt_p)-v(n_shunt_n))", "Rraw raw rawf 1k",
        f"Craw rawf 0 398p ic={values.level_v(3.0 * sign):g}", "Eraw n_i_coarse 0 rawf 0 1",
        # comparators, late by what values.py says, open collectors
        "Bcmp cmp 0 v = (v(n_i_coarse) > v(n_trip_hi) || v(n_trip_sum) < v(n_middle)) ? 1 : 0",
        f"Tcmp cmp 0 late 0 z0=50 td={values.COMPARATOR_S:g}", "Rlate late 0 50",
        "Strip n_trip_n 0 late 0 sink", ".model sink sw(vt=0.5 vh=0.05 ron=60 roff=10meg)",
        "Ctrip n_trip_n 0 30p ic=3.3", "Bon on_raw 0 v = v(n_trip_n) > 1.65 ? 3.3 : 0",
        "Ron on_raw n_modules_on 50", "Con n_modules_on 0 100p ic=3.3",
        # the module: its enable acts late; both switches of the path open, diodes take the current back
        "Ben want 0 v = v(n_modules_on) > 1.65 ? 1 : 0",
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

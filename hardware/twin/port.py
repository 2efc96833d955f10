"""The signal port: edges of the line that sends, levels and delay of the line that reads, 24 V on either."""

from __future__ import annotations

from hardware.spice import runner
from hardware.twin.deck import Deck, netlist_of
from hardware.twin.points import operating_point

SENDER = ("R611", "R612", "R613", "Q601", "R614", "D602", "R615", "F601", "D603")
SUPPLY = ("R616", "R617", "D604", "Q602")
READER = ("D605", "R618", "D606", "R619", "R620", "C606", "D607")
DRIVER_OHM = 7.0
"""TC4428: output resistance (data sheet, from memory)."""
LEAD_F = 1e-9
"""Some metres of lead and the input of a control unit: engineering judgement."""
SCHMITT_LOW_V, SCHMITT_HIGH_V = 0.8, 2.2
"""74LVC1G17 at 3.3 V: below and above these its output is sure (data sheet, from memory)."""
SENT_LOW_V, SENT_HIGH_V = 0.5, 4.1
"""What a SENT sensor must reach at its output (SAE J2716, from memory)."""
VPROT_V = 12.0


def _sender(bench: str, high_v: float, pin: str, push_pull: bool, supply_v: float = VPROT_V) -> Deck:
    """The sender with its jumpers; ``pin``: a SPICE source at the module's pin; ``high_v``: 5 or 12."""
    d = Deck("Signal port, sending", netlist_of(bench)).take(*SENDER, *SUPPLY)
    nets = {
        "in": d.pins("R611")["2"], "a": d.pins("R612")["1"], "b": d.pins("R614")["1"],
        "twelve": d.pins("Q602")["E"],
    }  # fmt: skip
    d.add(
        "V33 n_3v3 0 3.3", "V5 n_5v 0 5", f"Vprot n_vprot 0 {supply_v:g}", f"Vpin pin 0 {pin}",
        f"Rpin pin {nets['in']} 50", f"Rjumper {'n_5v' if high_v == 5 else nets['twelve']} sv 0.02",
        f"Cdecouple sv 0 1u ic={0.93 * high_v:g}", "Rquiet sv 0 4.7k",
        f"Ba oa 0 v = v({nets['in']}) > 1.6 ? 0 : v(sv)", f"Ra oa {nets['a']} {DRIVER_OHM:g}",
        f"Bup sv ob i = v({nets['in']}) > 1.6 ? (v(sv)-v(ob))/{DRIVER_OHM:g} : 0",
        f"Bdown ob 0 i = v({nets['in']}) > 1.6 ? 0 : v(ob)/{DRIVER_OHM:g}",
        f"Rpush ob {nets['b']} {'0.02' if push_pull else '1g'}",
    )  # fmt: skip
    d.without(
        "the driver's own delay (40 ns) and current limit", "warming of the resettable fuse (10 Ohm, cold)"
    )
    return d


EDGES = """
.options method=gear
.control
tran 10n 150u 0 10n uic
meas tran high_v FIND v(n_signal_out) AT=120u
meas tran low_v FIND v(n_signal_out) AT=95u
let tenth = low_v+0.1*(high_v-low_v)
let most = low_v+0.9*(high_v-low_v)
meas tran r1 WHEN v(n_signal_out)=tenth TD=99u RISE=1
meas tran r2 WHEN v(n_signal_out)=most TD=99u RISE=1
meas tran f1 WHEN v(n_signal_out)=most TD=74u FALL=1
meas tran f2 WHEN v(n_signal_out)=tenth TD=74u FALL=1
let rise_us = 1e6*(r2-r1)
let fall_us = 1e6*(f2-f1)
print rise_us fall_us
quit
.endc
"""


def edges(high_v: float, push_pull: bool, bench: str = "reference", load_ohm: float = 1e3) -> runner.Result:
    """20 kHz, half duty. The load: ``load_ohm`` to ground, or for the open drain up to 12 V, and 1 nF."""
    d = _sender(bench, high_v, "PULSE(0 3.3 0 10n 10n 25u 50u)", push_pull)
    end = "0" if push_pull else "n_vprot"
    d.add(f"Rload n_signal_out {end} {load_ohm:g}", f"Cload n_signal_out 0 {LEAD_F:g} ic=0")
    return runner.run_text(d.text(EDGES, "high_v low_v rise_us fall_us"))


def supply_on_line(volts: float, pulled_low: bool, bench: str = "reference") -> runner.Result:
    """``volts`` put onto the line that sends, push-pull at 12 V: amperes, and watts in resistor and MOSFET,
    before the resettable fuse opens.
    """
    d = _sender(bench, 12, "0" if pulled_low else "3.3", True)
    node, gate = d.pins("Q601")["D"], d.pins("Q601")["G"]
    d.add(f"Vline line 0 {volts:g}", "Rline line n_signal_out 0.1")
    amps = "-i(vline)"
    return operating_point(
        d,
        {
            "line_a": amps,
            "resistor_w": f"33*{amps}*{amps}",
            "mosfet_w": f"v({node})*{amps}",
            "sender_v": "v(sv)",
            "gate_v": f"v({gate})",
        },
    )


def ground_on_line(bench: str = "reference") -> runner.Result:
    """The line at ground while it sends 12 V: amperes and watts before the resettable fuse opens."""
    d = _sender(bench, 12, "3.3", True)
    d.add("Vline n_signal_out 0 0")
    return operating_point(
        d,
        {
            "line_a": "i(vline)",
            "resistor_w": "33*i(vline)*i(vline)",
            "sender_v": "v(sv)",
            "feed_w": "47*i(vprot)*i(vprot)",
        },
    )


def jump_start(volts: float = 26.0, bench: str = "reference") -> runner.Result:
    """The sender's supply and the follower's heat with ``volts`` on the bench, at rest."""
    d = _sender(bench, 12, "3.3", True, volts)
    d.add("Rload n_signal_out 0 1k")
    base, out = d.pins("Q602")["B"], d.pins("Q602")["C"]
    zener_w = f"v({base})*({volts:g}-v({base}))/2.2k"
    return operating_point(
        d, {"sender_v": "v(sv)", "zener_w": zener_w, "follower_w": f"-i(vprot)*(v({out})-v(sv))"}
    )


def _reader(bench: str, line: str) -> tuple[Deck, str]:
    d = Deck("Signal port, reading", netlist_of(bench)).take(*READER)
    node = d.pins("R620")["1"]
    node = node if node != "0" else d.pins("R620")["2"]
    d.add("V33 n_3v3 0 3.3", "V5 n_5v 0 5", f"Vline line 0 {line}", f"Cin {node} 0 5p")
    d.without("the Schmitt trigger itself (its thresholds are looked at)")
    return d, node


def level(volts: float | None, bench: str = "reference") -> runner.Result:
    """The line at ``volts`` (None: open): volts at the Schmitt trigger, amperes into clamp and 5 V."""
    d, node = _reader(bench, f"{volts or 0:g}")
    d.add(f"Rline line n_signal_in {'1g' if volts is None else '0.1'}")
    return operating_point(d, {"seen_v": f"v({node})", "line_ma": "-1e3*i(vline)", "five_ma": "-1e3*i(v5)"})


DELAY = """
.options method=gear
.control
tran 5n 40u 0 5n uic
meas tran low_v MIN v({node}) from=10u to=15u
meas tran high_v MAX v({node}) from=20u to=29u
meas tran fall_us TRIG v(n_signal_in) VAL=2.5 FALL=2 TARG v({node}) VAL={low} FALL=2
meas tran rise_us TRIG v(n_signal_in) VAL=2.5 RISE=2 TARG v({node}) VAL={high} RISE=2
quit
.endc
"""


def delay(bench: str = "reference") -> runner.Result:
    """Pulses of a SENT sensor (5 us low, edges of 1 us): levels seen and delays in seconds."""
    d, node = _reader(bench, f"PULSE({SENT_HIGH_V:g} {SENT_LOW_V:g} 10u 1u 1u 4u 20u)")
    d.add("Rline line n_signal_in 50")
    text = DELAY.format(node=node, low=SCHMITT_LOW_V, high=SCHMITT_HIGH_V)
    return runner.run_text(d.text(text, "low_v high_v fall_us rise_us"))

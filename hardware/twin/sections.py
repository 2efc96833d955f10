"""Sections of docs/circuit-twin.md: the vehicle's supply, lost rails, build steps, measuring, signal port."""

from __future__ import annotations

from collections.abc import Iterator

from hardware.calc import budget
from hardware.spice.runner import Result
from hardware.twin import build, points, port, pulses, rails, sense, vehicle
from hardware.twin.text import prose, table

BENCHES = ("reference", "small")
PULSES = """
The table shows one pulse each of ISO 7637-2, with the values of the hardest level **from memory**. The
main switch is open on the reference bench and closed on the small bench. Pulse 1 takes the logic's
supply away on the reference bench, which then restarts. On the small bench the MOSFETs at the input
conduct both ways, so its bulk capacitors feed the pulse, and the suppressor has little to do.
"""
CRANKS = """
The next table shows the starting profiles of ISO 16750-2, with levels **from memory**, for 1.5 s, with
the main switch closed. The ideal diode of the reference bench keeps the charge in the bulk capacitors.
Without load it therefore rides through dips that stop the small bench. After the drivers have let go of
the gates, or the Pico has restarted, the bench must be armed again.
"""
PLUG = """
A supply lead of 14.4 V connected to the discharged small bench gives {volts:.0f} V at the terminals and
{amps:.0f} A for some microseconds.
"""
RAILS = """
One supply falls at a time. All other conditions allow a gate, and a gate is commanded on. The time is until
gate A high has fallen to 1 V (reference bench), or until the input INH of a half-bridge is off (small
bench). **While the analog 3.3 V falls from 2.7 to 1.1 V, nothing of ours limits the current**: the
amplifiers are not reliable any more, and the latch falls only at 1.1 V. The fall lasts about 1.6 ms,
because 10 uF must discharge.
"""
STEPS = """
These are the steps of the [build guide](build.md) that apply power. Two of them were wrong, and the guide
is corrected. Step 4 cannot work on USB alone, because the stop loop gets its current from 5 V. In step 5 a
limit of 0.1 A holds the logic at {stuck:.1f} V: with the gate supplies fitted the logic needs more. If the
leads are reversed while the wire across the ideal diode is still fitted, only the supply's limit bounds the
current.
"""
SENSE = """
The table is of 20 000 computed boards before any calibration. It gives the standard deviation over the
boards, and beside it the [budget](../hardware/calc/RESULTS.md), which is the figure that findings are
computed with. A simulated bench as built has the budget's figures too. The zero of the coarse range is a
ninth worse than in the budget, because the budget leaves out the amplifier's middle voltage. A calibration
removes that error.
"""
PORT = """
The port has one line that sends and one that reads, on the pins of the serial option. Only the circuit
exists: **no firmware drives it yet**. It is alike on both benches. The load of the sender is 1 nF and 1
kOhm to ground, or to 12 V for the open drain, at 20 kHz.
"""
READS = """
The line that reads: the levels that a SENT sensor must reach (from memory) give {low:.2f} and {high:.2f} V
at the Schmitt trigger, which switches surely below {sure_low:g} and above {sure_high:g} V. Falling and
rising edges come {fall:.1f} and {rise:.1f} us late. An open line reads high. With 24 V on the line
{into:.1f} mA flow and the trigger sees {seen:.1f} V. It bears 5.5 V. With -24 V the line draws {below:.1f}
mA.
"""
SENDS = """
The line that sends, with 24 V on it: {low_a:.2f} A and {low_w:.0f} W in the resistor while the line is
pulled low, until the resettable fuse opens. While the line is released or high, no current flows. With
the line at ground while 12 V are sent, {ground_a:.2f} A flow. With 26 V at the bench's terminals the sender
gets {jump:.1f} V.
"""


def vehicle_supply() -> str:
    """Pulses, cranking, hot plug."""
    rows = [
        (bench, pulse.name, *_pulse(vehicle.pulse(pulse, bench))) for bench, pulse in _both(vehicle.PULSES)
    ]
    head = "bench | pulse | at the terminals | behind the input | suppressor"
    cranks = [
        (bench, which.name, f"{load:g} A", f"{r['rail_min_v']:.1f} V", vehicle.survives(r))
        for bench, which in _both(vehicle.CRANKS)
        for load in (0.0, 2.0)
        for r in (vehicle.crank(which, load, bench),)
    ]
    plug = pulses.hot_plug(14.4, "small")
    return "\n".join([
        "## The vehicle's supply\n", prose(PULSES)[:-1], table(head, rows), prose(CRANKS)[:-1],
        table("bench | level | part takes | least behind the input | what happens", cranks),
        prose(PLUG.format(volts=plug["terminals_v"], amps=plug["inrush_a"]))[:-1],
    ])  # fmt: skip


def _both(cases: tuple) -> Iterator[tuple]:
    return ((bench, case) for bench in BENCHES for case in cases)


def _pulse(r: Result) -> tuple[str, str, str]:
    return (
        f"{r['terminals_min_v']:.0f} to {r['terminals_max_v']:.0f} V",
        f"{r['rail_min_v']:.1f} to {r['rail_max_v']:.1f} V",
        f"{r['suppressor_a']:.1f} A, {1e3 * r['suppressor_j']:.0f} mJ",
    )


def lost_rails() -> str:
    """What the gates do when a supply is lost."""
    rows = [
        (bench, lost.name, f"{1e3 * r['after_s']:.2f} ms", f"{r['rail_at_off_v']:.2f} V")
        for bench, lost in _both(rails.RAILS)
        if bench == "reference" or lost.node != "gate"
        for r in (rails.lose(lost, bench),)
    ]
    head = "bench | lost | gate off after | the supply is then at"
    return "## A supply is lost\n\n" + prose(RAILS) + table(head, rows)


def build_steps() -> str:
    """Each step that applies power; the chopper's is with the supply side."""
    bare, stuck, full = (
        build.start_logic(limit, watts)
        for limit, watts in ((0.1, build.BARE_LOGIC_W), (0.1, points.LOGIC_W), (0.3, points.LOGIC_W))
    )
    turned, wired = build.reversed_leads(False), build.reversed_leads(True)
    usb, hand, lone = (build.enable_chain(*how) for how in ((0.0, False), (5.0, True), (0.0, True)))
    gates, main = build.gates_off(), build.close_main()
    rows = (
        (
            "2",
            "12 V, 0.1 A, no gate supplies",
            f"{bare['rail_v']:.1f} V, {1e3 * bare['feed_a']:.0f} mA, 5 V up",
        ),
        ("2", "leads turned round", f"{abs(turned['feed_a']):.0e} A"),
        ("2", "leads turned round, the wire still fitted", f"{abs(wired['feed_a']):.0f} A without a limit"),
        ("3", "USB only", f"HARD_N {usb['hard_v']:.1f} V, DRIVER_DISABLE {usb['disable_v']:.1f} V"),
        ("4", "all say yes, USB only", f"DRIVER_DISABLE stays at {lone['disable_v']:.1f} V"),
        ("4", "all say yes, 5 V up", f"DRIVER_DISABLE {1e3 * hand['disable_v']:.0f} mV"),
        ("5", "gate supplies, limit 0.1 A", f"{stuck['rail_v']:.1f} V, 5 V not up"),
        ("5", "gate supplies, limit 0.3 A", f"{full['rail_v']:.1f} V, {1e3 * full['feed_a']:.0f} mA"),
        (
            "6",
            "drivers without supply",
            f"gates {1e3 * gates['high_v']:.0f} and {1e3 * gates['low_v']:.0f} mV",
        ),
        ("7", "precharge to 90 %", f"{main['ready_s']:.2f} s, {main['precharge_a']:.2f} A at most"),
        ("7", "main switch closes", f"{main['surge_a']:.0f} A for a moment"),
    )
    text = prose(STEPS.format(stuck=stuck["rail_v"]))
    return "## The build steps\n\n" + text + table("step | what is done | what it does", rows)


def measuring() -> str:
    """Monte Carlo of what is measured."""
    rows = []
    for bench in BENCHES:
        stated = budget.channels(sense.SHUNT_OHM[bench])
        for name, found in sense.channels(bench).items():
            offset, gain, _, _ = stated[name].standard()
            gains = (f"{100 * found.gain:.2f} %", f"{100 * gain:.2f} %")
            rows.append((bench, name, f"{found.offset:.2g}", f"{offset:.2g}", *gains))
    head = "bench | channel | zero | budget | slope | budget"
    return "## How true boards measure\n\n" + prose(SENSE) + table(head, rows)


def signal_port() -> str:
    """Edges, levels, and 24 V."""
    rows = []
    for volts, push in ((12.0, True), (5.0, True), (12.0, False)):
        r = port.edges(volts, push)
        name = f"push-pull, {volts:g} V" if push else "open drain"
        edges = (f"{r['fall_us']:.2f} us", f"{r['rise_us']:.2f} us")
        rows.append((name, f"{r['low_v']:.2f} V", f"{r['high_v']:.1f} V", *edges))
    late, above, below = port.delay(), port.level(24.0), port.level(-24.0)
    held, ground = port.supply_on_line(24.0, True), port.ground_on_line()
    reads = READS.format(
        low=late["low_v"], high=late["high_v"], sure_low=port.SCHMITT_LOW_V, sure_high=port.SCHMITT_HIGH_V,
        fall=1e6 * late["fall_us"], rise=1e6 * late["rise_us"], into=above["line_ma"],
        seen=above["seen_v"], below=-below["line_ma"],
    )  # fmt: skip
    sends = SENDS.format(
        low_a=held["line_a"], low_w=held["resistor_w"], ground_a=ground["line_a"],
        jump=port.jump_start()["sender_v"],
    )  # fmt: skip
    head = "sender | low | high | fall | rise"
    return "\n".join([
        "## The signal port\n", prose(PORT)[:-1], table(head, rows), prose(sends)[:-1], prose(reads)[:-1]
    ])  # fmt: skip

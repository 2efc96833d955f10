"""Sections of docs/circuit-twin.md: the vehicle's supply, lost rails, build steps, measuring, signal port."""

from __future__ import annotations

from collections.abc import Iterator

from hardware.calc import budget
from hardware.spice.runner import Result
from hardware.twin import build, points, port, pulses, rails, sense, vehicle
from hardware.twin.text import prose, table

BENCHES = ("reference", "small")
PULSES = """
ISO 7637-2, one pulse each, values of the hardest level **from memory**. Reference bench with the main
switch open, small bench with it closed. Pulse 1 takes the logic's supply away on the reference bench: it
restarts. On the small bench the MOSFETs at the input conduct both ways, so its bulk capacitors feed the
pulse and the suppressor has little to do.
"""
CRANKS = """
Starting profiles of ISO 16750-2, levels **from memory**, 1.5 s, main switch closed. The reference bench's
ideal diode keeps what its bulk capacitors hold, so without load it rides through what stops the small
bench. Where the drivers let go of the gates or the Pico restarts, the bench has to be armed again.
"""
PLUG = """
The supply lead put onto the discharged small bench at 14.4 V: {volts:.0f} V at the terminals, {amps:.0f} A
for some microseconds.
"""
RAILS = """
One supply falls at a time, all else says yes, a gate is commanded on. Reference bench: gate A high, to 1 V.
Small bench: INH of a half-bridge. **Between 2.7 and 1.1 V of analog 3.3 V nothing of ours limits the
current**: the amplifiers are not sure any more, and the latch falls only at 1.1 V. That takes the time that
10 uF need, about 1.6 ms.
"""
STEPS = """
The steps of the [build guide](build.md) that apply power. Two of them were wrong and are mended there. Step
4 cannot work on USB alone, because the stop loop is fed from 5 V. In step 5 a limit of 0.1 A holds the
logic at {stuck:.1f} V: with the gate supplies fitted it needs more. With the leads turned round and the
wire across the ideal diode still fitted, only the supply's limit bounds the current.
"""
SENSE = """
20 000 boards, before any calibration; standard deviations over boards, beside the
[budget](../hardware/calc/RESULTS.md) that findings are made with and that a simulated bench as built is
drawn from. The coarse range's zero is a ninth worse than the budget says: the budget leaves the amplifier's
middle out. A calibration takes that zero away. A simulated bench as built has the budget's figure.
"""
PORT = """
One line that sends and one that reads, on the pins of the serial option; circuit and pins only, **no
firmware drives it yet**. Both benches have it alike. Load of the sender: 1 kOhm to ground, or to 12 V for
the open drain, and 1 nF; 20 kHz.
"""
READS = """
Where it reads: what a SENT sensor must reach (from memory) gives {low:.2f} and {high:.2f} V at the Schmitt
trigger, which is sure below {sure_low:g} and above {sure_high:g} V. Falling and rising edges come
{fall:.1f} and {rise:.1f} us late. An open line reads high. With 24 V on it {into:.1f} mA flow and the
trigger sees {seen:.1f} V, of the 5.5 V that it bears; -24 V draw {below:.1f} mA.
"""
SENDS = """
24 V on the line that sends: {low_a:.2f} A and {low_w:.0f} W in the resistor while it is pulled low, until
the resettable fuse opens; nothing while it is released or high. The line at ground while 12 V are sent:
{ground_a:.2f} A. With 26 V at the bench's terminals the sender gets {jump:.1f} V.
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
        ("2", "the same, the wire still fitted", f"{abs(wired['feed_a']):.0f} A without a limit"),
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

"""Gate inputs, enable line and trip on the emulated chip's pins."""

from __future__ import annotations

import pytest
from strokebench.sim.chip.world import GATES, PERIOD_NS, ChipWorld, PinClock
from strokefw import channels
from strokefw.pico import pins

from tests.firmware.pio_asm import programs

pytestmark = pytest.mark.chip
LATENCY_NS = 64
LEAST_NS = 32  # two cycles in the input's flip-flops, two instructions (RP2040 datasheet 3.5.6.3, 3.4)
STEP = 1 / 6250
PHASES = 24
ROUND_US = 200
"""The external converter's; it and the tick begin at times that have nothing to do with each other."""
PULSED = f"""
def tick():
    b.watchdog()
    b.scan(c)
    return c[{channels.LEG_A}] * 1000 // (c[{channels.BUS}] + 1)
def pulled(phase, late):
    # the most that three ticks read behind the one with a pulse, begun so late in it, in permille
    while time.ticks_us() % 1000 != phase:
        pass
    most = 0
    for i in range(4):
        began = time.ticks_us()
        read = tick()
        if i:
            most = max(most, read)
        else:
            while time.ticks_diff(time.ticks_us(), began) < late:
                pass
            b.pulse(0, 1, 1000)
        while time.ticks_diff(time.ticks_us(), began) < 1000:
            pass
    return most
b.watchdog()
b.rail(1)
"""


def _drive(world: ChipWorld, drive: int, gate: int = 1) -> None:
    world.machine.execute(f"b.drive({drive}, {gate})")


def _duties(world: ChipWorld) -> dict[str, float]:
    """Share of time high of each gate input over 20 periods, with clocks of our own."""
    clocks = {net: PinClock(world.machine, net) for net in GATES}
    begin = world.machine.now_ns
    world.machine.run(20 * PERIOD_NS * 1e-9)
    return {net: clock.take_ns() / (world.machine.now_ns - begin) for net, clock in clocks.items()}


def test_everything_is_off_after_construction(world: ChipWorld) -> None:
    assert not any(
        world.clocks[net].high for net in ("BRIDGE_ENABLE", "A_HIGH", "B_HIGH", "PRECHARGE", "MAIN_SWITCH")
    )
    assert not world.clocks["A_LOW"].high and not world.clocks["B_LOW"].high


def test_pio_memory_holds_what_the_tests_assembler_says(world: ChipWorld) -> None:
    found = list(world.machine.mcu.pio[0].instructions)
    for program in (programs().keeper, programs().converter, programs().packer):
        words = program.words
        places = [at for at in range(33 - len(words)) if _placed(words, at) == found[at : at + len(words)]]
        assert len(places) == 1


def _placed(words: list[int], at: int) -> list[int]:
    return [word + at if word >> 13 == 0 else word for word in words]  # jumps are absolute


@pytest.mark.parametrize("drive", [-10000, -5000, -100, 0, 1, 100, 2500, 5000, 9900, 10000])
def test_duty_on_the_pins(world: ChipWorld, drive: int) -> None:
    _drive(world, drive)
    world.machine.run(3 * PERIOD_NS * 1e-9)
    high, other = ("A", "B") if drive >= 0 else ("B", "A")
    duties = _duties(world)
    share = abs(drive) / 10000
    # a window is not a whole number of periods: up to one part of a period more or less in 20
    assert duties[f"{high}_HIGH"] == pytest.approx(share, abs=STEP + (0.01 if 0 < share < 1 else 0))
    assert duties[f"{high}_HIGH"] + duties[f"{high}_LOW"] == pytest.approx(1, abs=1e-6)
    assert duties[f"{other}_HIGH"] == 0
    assert duties[f"{other}_LOW"] == pytest.approx(1, abs=1e-6)
    assert world.clocks["BRIDGE_ENABLE"].high


def _wraps(world: ChipWorld) -> list[float]:
    """Grows by the time, in ns, of each wrap of leg A's slice."""
    pwm = world.machine.mcu.pwm
    inner = pwm.channel_interrupt
    times = [0.0]

    def note(index: int) -> None:
        if index == 1:
            times.append(world.machine.now_ns)
        inner(index)

    pwm.channel_interrupt = note
    world.machine.run(2 * PERIOD_NS * 1e-9)
    return times


@pytest.mark.parametrize("drive", [0, 100, 5000, 9900, 10000])
def test_trip_turns_off_in_every_phase(world: ChipWorld, drive: int) -> None:
    """24 phases spread over the period and past both edges; the CPU is kept busy, as in service."""
    _drive(world, drive)
    machine, enable, trip = world.machine, world.clocks["BRIDGE_ENABLE"], world.gpio("TRIP_N")
    machine.usb.send(b"\x01while 1: pass\r\n\x04")
    machine.run(0.002)
    wraps = _wraps(world)
    delays = []
    edges: list[tuple[bool, float]] = []
    enable.changed = lambda high, now_ns: edges.append((high, now_ns))  # type: ignore[method-assign]
    pulled = [0.0]
    edge = machine.alarm(lambda: (pulled.__setitem__(0, machine.now_ns), trip.set_input_value(False)))
    release = machine.alarm(lambda: trip.set_input_value(True))
    for i in range(PHASES):
        phase = PERIOD_NS * (i + 0.5) / PHASES
        edges.clear()
        ahead_ns = (phase - (machine.now_ns - wraps[-1])) % PERIOD_NS + PERIOD_NS
        edge.schedule(ahead_ns)
        release.schedule(ahead_ns + 600)
        machine.run(4 * PERIOD_NS * 1e-9)
        assert [high for high, _ in edges] == [False, True]
        (_, off_ns), (_, on_ns) = edges
        delays.append(off_ns - pulled[0])
        # back at the next period's beginning, not before
        assert 0 <= on_ns - (pulled[0] + PERIOD_NS - phase) < 600
    machine.usb.send(b"\x03")
    machine.run(0.01)
    assert all(LEAST_NS <= delay <= LATENCY_NS for delay in delays), delays
    print("trip", drive, "ns", min(delays), max(delays))


def test_gate_off_is_at_once(world: ChipWorld) -> None:
    _drive(world, 5000)
    assert world.clocks["BRIDGE_ENABLE"].high
    _drive(world, 0, 0)
    world.machine.run(2 * PERIOD_NS * 1e-9)
    assert not any(world.clocks[net].high for net in ("BRIDGE_ENABLE", "A_HIGH", "A_LOW", "B_HIGH", "B_LOW"))


def test_pin_table_is_used() -> None:
    assert pins.gpio("BRIDGE_ENABLE") == 6


def test_a_pulse_is_read_whole_wherever_in_the_tick_and_in_a_round_it_begins(world: ChipWorld) -> None:
    """What the self-test asks for is 850 permille of the supply."""
    world.board.plant.bus_v = world.board.spec.supply_v
    world.machine.execute(PULSED)
    world.machine.run(0.002)
    read = [
        int(world.machine.execute(f"b.watchdog(); print(pulled({phase}, {late}))"))
        for phase in range(0, ROUND_US, 50)
        for late in (60, 300)
    ]
    print("permille", read)
    assert min(read) > 950
    world.machine.execute("b.rail(0)")

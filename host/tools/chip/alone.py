"""The board and the tick on the emulated chip without the rest: what each call costs, and its pins."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

from strokebench.bench.spec import SimSpec
from strokebench.sim.board.board import SimBoard
from strokebench.sim.chip.world import PERIOD_NS, ChipWorld
from strokebench.sim.engine.chip import quiet_machine
from strokefw import state

from tools.chip import convert, duty

Row = tuple[str, str]
CONVERT_SEEDS = (1, 2)
BOARD_COSTS = """
import gc
gc.threshold(12000)  # as pico/main.py: what stays lies close together
import time, micropython, strokefw.app
from array import array
from strokefw.pico.board import Board
b = Board()
b.trip_level(40000)  # until then the fast limit trips at no current
micropython.kbd_intr(3)
c = array('H', [0] * 13)
def cost(call, *args):
    gc.collect()
    before = gc.mem_alloc()
    began = time.ticks_us()
    for i in range(32): call(*args)
    spent = time.ticks_diff(time.ticks_us(), began)
    return spent / 32, gc.mem_alloc() - before
base = cost(len, c)  # the loop and a call of a built-in
found = {}
for name, call, args in (
    ('scan', b.scan, (c,)), ('drive', b.drive, (2500, 1)), ('trips', b.trips, ()),
    ('watchdog', b.watchdog, ()), ('trip_level', b.trip_level, (40000,)),
):
    spent, kept = cost(call, *args)
    found[name] = (spent - base[0], kept - base[1])
print(found)
"""
TICK_COSTS = f"""
gc.collect()
from strokefw.app import App
a = App(b)
gc.collect()
free = gc.mem_free()
a.state = {state.READY}
a.always = 1
least, most, total = 1 << 20, 0, 0
for i in range(32):
    began = time.ticks_us()
    a.tick()
    spent = time.ticks_diff(time.ticks_us(), began)
    least, most, total = min(least, spent), max(most, spent), total + spent
print((free, least, total // 32, most, a.state == {state.READY}))
"""


def _world(image: Path) -> ChipWorld:
    return ChipWorld(quiet_machine(image), SimBoard(SimSpec(), ideal=True))


def board_rows(world: ChipWorld) -> Iterator[Row]:
    """Cost of each of the tick's calls into the board, and what they leave on the heap."""
    found = ast.literal_eval(world.machine.execute(BOARD_COSTS, 20))
    for name, (spent_us, kept) in found.items():
        yield f"board.{name}()", f"{spent_us:.0f} us, {kept} bytes of heap in 32 calls"


def tick_rows(world: ChipWorld) -> Iterator[Row]:
    """The whole tick in the state READY, with a sample row in each; and the heap."""
    free, least, mean, most, stayed = ast.literal_eval(world.machine.execute(TICK_COSTS, 30))
    yield "free heap with firmware, rings and tables in memory", f"{free / 1000:.0f} kB"
    if stayed:
        yield "tick in READY with a row in each: shortest, mean, longest of 32", f"{least}, {mean}, {most} us"


def trip_rows(world: ChipWorld) -> Iterator[Row]:
    """Comparator edge to enable line, over 24 phases at five duties, with a busy CPU."""
    for drive in (0, 100, 5000, 9900, 10000):
        world.machine.execute(f"b.drive({drive}, 1)")
        delays = trip_delays_ns(world, 24)
        most = max(delays)
        yield f"comparator edge to enable low at {drive / 100:g} %", f"at most {most:.0f} ns in 24 phases"


def trip_delays_ns(world: ChipWorld, phases: int) -> list[float]:
    """Delay of the enable line's falling edge for comparator edges spread over the period."""
    machine, enable, trip = world.machine, world.clocks["BRIDGE_ENABLE"], world.gpio("TRIP_N")
    edges: list[tuple[bool, float]] = []
    before = enable.changed
    enable.changed = lambda high, now_ns: edges.append((high, now_ns))  # type: ignore[method-assign]
    pulled: list[float] = []

    def pull() -> None:
        pulled.append(machine.now_ns)
        trip.set_input_value(False)

    edge, release = machine.alarm(pull), machine.alarm(lambda: trip.set_input_value(True))
    machine.usb.send(b"\x01while 1: pass\r\n\x04")
    machine.run(2e-3)
    delays = []
    for i in range(phases):
        edges.clear()
        ahead_ns = 2 * PERIOD_NS - (machine.now_ns - PERIOD_NS * (i + 0.5) / phases) % PERIOD_NS
        edge.schedule(ahead_ns)
        release.schedule(ahead_ns + 600)
        machine.run(4 * PERIOD_NS * 1e-9)
        delays += [now_ns - pulled[-1] for high, now_ns in edges if not high]
    machine.usb.send(b"\x03")
    machine.run(1e-2)
    enable.changed = before  # type: ignore[method-assign]
    return delays


def costs(image: Path) -> Iterator[Row]:
    """The board without the rest of the firmware, then with it but without its timer."""
    world = _world(image)
    yield from board_rows(world)
    yield from tick_rows(world)


def pins(image: Path) -> Iterator[Row]:
    """What PIO and PWM do by themselves: no Python in it."""
    world = _world(image)
    world.machine.execute(BOARD_COSTS, 20)
    yield from trip_rows(world)
    yield from duty.rows(world)


def conversion(image: Path) -> Iterator[Row]:
    """Known currents and voltages through the converters."""
    machine = quiet_machine(image, convert.MODULE)
    yield from convert.rows(ChipWorld(machine, convert.FedBoard(SimSpec())), CONVERT_SEEDS)

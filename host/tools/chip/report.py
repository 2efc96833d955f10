"""Measures the firmware on the emulated chip and writes the numbers down.

    python -m tools.chip.report IMAGE [PAGE] [--long]

IMAGE is an RPI_PICO .uf2 of MicroPython, PAGE where the table goes (docs/performance-chip.md). Takes some 20
minutes on two cores: the emulator is 25 to 60 times slower than the chip. --long drives for 60 s instead of
10 and runs a throttle's whole procedure: half an hour more.
"""

from __future__ import annotations

import ast
import sys
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from strokebench.bench.spec import SimSpec
from strokebench.errors import StrokebenchError
from strokebench.sim.board.board import SimBoard
from strokebench.sim.chip.world import PERIOD_NS, ChipWorld
from strokebench.sim.engine.chip import ChipPort, quiet_machine
from strokefw import state

from tools import DOCS
from tools.chip import burst, classroom, convert, duty, fault_report, procedure, raw

Row = tuple[str, str]
DRIVE_S, LONG_DRIVE_S = 10.0, 60.0
BOARD_COSTS = """
import gc
gc.threshold(12000)  # as pico/main.py: what stays lies close together
import time, micropython, strokefw.app
from array import array
from strokefw.pico.board import Board
b = Board()
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
PAGE_HEAD = """# The firmware on the emulated chip, in numbers

Written by `python -m tools.chip.report IMAGE`. An RP2040 emulated by rp2040py at 125 MHz, the real
MicroPython image, the simulated bench on its pins. **No real hardware.** The emulator has no flash cache
misses, so a real chip's Python is slower by what those cost.

| what | measured |
| --- | --- |
"""


@dataclass(frozen=True)
class Part:
    """A part of the page, made in a process of its own; ``work``: how long it takes beside the others."""

    rows: Callable[[Path], Iterable[Row]]
    work: int


def _board_alone(image: Path, board: SimBoard | None = None) -> ChipWorld:
    return ChipWorld(quiet_machine(image), board or SimBoard(SimSpec(), ideal=True))


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
        yield "tick in READY with a row each: least, mean, most of 32", f"{least}, {mean}, {most} us"


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


def alone_rows(image: Path) -> Iterator[Row]:
    """The board without the rest of the firmware, then with it but without its timer."""
    world = _board_alone(image)
    yield from board_rows(world)
    yield from trip_rows(world)
    yield from duty.rows(world)
    yield from tick_rows(world)


def convert_rows(image: Path) -> Iterator[Row]:
    """Known currents and voltages through the converters."""
    yield from convert.rows(_board_alone(image, convert.FedBoard(SimSpec())), (1, 2, 3))


def firmware_rows(image: Path, seconds: float = DRIVE_S) -> Iterator[Row]:
    """Power-up, self-test, and ``seconds`` of driving with every row sent."""
    from strokebench.bench.bench import Bench

    from tools.chip.drive import drive

    port = ChipPort(SimSpec("throttle-body"), image)
    machine, world = port.machine, port.world
    machine.run(4, lambda: world.fed_ns > 0)
    yield "power-up to the link's first service", f"{machine.now_s:.2f} s"
    machine.run(4, lambda: world.board.bridge.rail == 1)
    machine.run(4, lambda: world.board.bridge.rail == 0)  # the self-test is over
    over_s = machine.now_s
    bench = Bench(port, "emulated chip", "chip")
    status = bench.status()
    ended = f"{over_s:.2f} s, {status.state}, fault {status.fault}"
    yield "power-up to the end of the first self-test", ended
    yield "free heap in service, ready", f"{bench.status().counters['heap_free'] / 1000:.0f} kB"
    found = drive(bench, seconds)
    counted = found.after.counters
    what = f"driving {seconds:g} s with every row sent"
    yield f"{what}: rows, lost, gaps", f"{len(found.samples)}, {found.lost_rows}, {found.gaps}"
    yield f"{what}: ticks missed", str(counted["overruns"])
    yield f"{what}: tick, mean", f"{counted['tick_mean_us']} us"
    yield f"{what}: tick, longest (start and end of a segment or run)", f"{counted['tick_max_us']} us"
    yield "longest tick of the self-test", f"{found.before.counters['tick_max_us']} us"
    yield "deepest stack met in a tick", f"{counted['stack_max']} bytes"
    yield "damaged frames, lost events", f"{counted['bad_frames']}, {counted['lost_events']}"


def parts_of(long: bool) -> list[Part]:
    """What the page has, in its order."""
    drive_s = LONG_DRIVE_S if long else DRIVE_S
    whole_run = [Part(procedure.rows, 60)] if long else []
    return [
        Part(alone_rows, 3),
        Part(convert_rows, 4),
        Part(partial(firmware_rows, seconds=drive_s), round(drive_s)),
        *whole_run,
        Part(burst.rows, 3),
        Part(raw.rows, 8),
        Part(classroom.rows, 4),
        Part(fault_report.rows, 9),
    ]


def _made(part: Part, image: Path) -> tuple[list[Row], str]:
    """The rows, and what kept it from giving more of them."""
    rows = []
    try:
        for row in part.rows(image):
            print(*row, sep=": ", file=sys.stderr, flush=True)  # long work shows progress
            rows.append(row)
    except (StrokebenchError, AssertionError, RuntimeError) as error:
        return rows, f"{type(error).__name__}: {error}"
    return rows, ""


def write_page(page: Path, image: Path, parts: list[Part]) -> list[str]:
    """Make the parts, the longest first, and write the page anew as they come; return what went wrong."""
    made: dict[int, list[Row]] = {}
    wrong = []
    order = sorted(range(len(parts)), key=lambda i: -parts[i].work)
    with ProcessPoolExecutor() as pool:
        jobs = {pool.submit(_made, parts[i], image): i for i in order}
        for done in as_completed(jobs):
            made[jobs[done]], why = done.result()
            wrong += [why] if why else []
            rows = [row for i in sorted(made) for row in made[i]]
            lines = [f"| {what} | {measured} |\n" for what, measured in rows]
            page.write_text(PAGE_HEAD + "".join(lines), encoding="utf-8")
    return wrong


def main(arguments: list[str]) -> int:
    """Measure and write; returns the exit code."""
    names = [argument for argument in arguments if argument != "--long"]
    if not 1 <= len(names) <= 2:
        print(__doc__)
        return 2
    page = Path(names[1]) if len(names) == 2 else DOCS / "performance-chip.md"
    wrong = write_page(page, Path(names[0]), parts_of("--long" in arguments))
    for why in wrong:
        print(f"A part of the page is not whole. {why}", file=sys.stderr)
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))

"""The whole firmware on an emulated chip: power-up, self-test, driving and bursts, and the endless stream."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

from strokebench.bench.bench import Bench
from strokebench.bench.spec import SimSpec
from strokebench.link.conversion import Status
from strokebench.sim.engine.chip import ChipPort

from tools.chip import burst, raw
from tools.chip.drive import drive, ready_bench

Row = tuple[str, str]
DRIVE_S, SHORT_DRIVE_S = 3.0, 0.5
REST_S = 0.4
STREAM_S = 0.6
LOOP_S = 0.3
HEAP_LOOKS = 6


def tick_max_us(status: Status) -> int:
    """The longest tick since the status before."""
    return status.counters["tick_max_us"]


def collected(bench: Bench, seconds: float = LOOP_S) -> int:
    """Longest tick in READY while garbage is collected: each status does that, and evicts the whole cache."""
    bench.status()
    now = bench.link.port.now
    end_s = now() + seconds
    longest = 0
    while now() < end_s:
        longest = max(longest, tick_max_us(bench.status()))
    return longest


def disarmed(bench: Bench) -> int:
    """Longest tick of disarming, and then to rest: the plate falls back and makes a voltage meanwhile."""
    bench.disarm()
    now: Callable[[], float] = bench.link.port.now
    end_s = now() + REST_S
    while now() < end_s:
        bench.link.poll(0.05)
    return tick_max_us(bench.status())


def power_up(port: ChipPort) -> Iterator[Row]:
    """Boot and the first self-test."""
    machine, world = port.machine, port.world
    machine.run(4, lambda: world.fed_ns > 0)
    yield "power-up to the link's first service", f"{machine.now_s:.2f} s"
    machine.run(4, lambda: world.board.bridge.rail == 1)
    machine.run(4, lambda: world.board.bridge.rail == 0)  # the self-test is over
    yield "power-up to the end of the first self-test", f"{machine.now_s:.2f} s"


def driving(bench: Bench, seconds: float) -> Iterator[Row]:
    """The longest ticks by what goes on, and a stretch of driving with every row sent."""
    first = bench.status()
    yield "the first self-test: state, fault", f"{first.state}, {first.fault}"
    yield "longest tick of the first self-test", f"{tick_max_us(first)} us"
    heaps = [bench.status().counters["heap_free"] for _ in range(HEAP_LOOKS)]
    yield "free heap in service, ready", f"{heaps[-1] / 1000:.1f} kB"
    yield (
        "free heap, lowest just after the start, which is logged to the flash",
        f"{min(heaps) / 1000:.1f} kB",
    )
    yield "longest tick in READY, garbage collected all the time", f"{collected(bench)} us"
    found = drive(bench, seconds)
    counted = found.after.counters
    what = f"driving {seconds:g} s with every row sent"
    yield "longest tick of arming, with its self-test", f"{tick_max_us(found.before)} us"
    yield f"{what}: rows, lost, gaps", f"{len(found.samples)}, {found.lost_rows}, {found.gaps}"
    yield f"{what}: ticks missed", str(counted["overruns"])
    yield f"{what}: tick, mean", f"{counted['tick_mean_us']} us"
    yield f"{what}: tick, longest (start and end of a segment or run)", f"{counted['tick_max_us']} us"
    yield "longest tick of disarming", f"{disarmed(bench)} us"
    yield "deepest stack met in a tick", f"{counted['stack_max']} bytes"
    yield "damaged frames, lost events", f"{counted['bad_frames']}, {counted['lost_events']}"


def ticks(image: Path) -> Iterator[Row]:
    """What the longest ticks are, in a shorter drive."""
    port = ChipPort(SimSpec("throttle-body"), image)
    yield from power_up(port)
    yield from driving(Bench(port, "emulated chip", "chip"), SHORT_DRIVE_S)


def rows(image: Path) -> Iterator[Row]:
    """Power-up, driving and bursts, on one chip."""
    port = ChipPort(SimSpec("throttle-body"), image)
    yield from power_up(port)
    bench = Bench(port, "emulated chip", "chip")
    yield from driving(bench, DRIVE_S)
    yield from burst.rows(bench)
    bench.close()


def streams(image: Path) -> Iterator[Row]:
    """The endless stream at several rates, on another chip."""
    yield from raw.rows(ready_bench(image), STREAM_S)

"""All faults that can be raised on the emulated chip, in turn.

The code reported, when the bridge was off, and how long the longest tick took meanwhile.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from strokebench.sim.chip.world import PERIOD_NS
from strokefw import faults

from tools.chip.fault_causes import DRIVEN, HOT, READY, WARM_C, ChipCause
from tools.chip.faults import FaultBench, Outcome

Row = tuple[str, str]
TIME_TO_OFF, LONGEST_TICK = "fault on the chip: time to off", "longest tick that handles a fault"
PHASES = 8
BOARD_WATCHDOG_MS = 10.0
"""The one-shot on the board, hardware/README.md; the emulated chip shows when it was last fed."""
FED_NO_MORE_S = 0.02
ALIVE_MS = 100.0
"""The tick goes on feeding the board's watchdog so long without the main loop; service.ALIVE."""
SLOW_HEARTBEAT_MS = 2000
UNASKED_S = 0.7
"""Longer than a self-test takes that nobody asked for."""


@dataclass
class Hang:
    """A hang or a reset. Times in ms from its beginning.

    ``fed_ms``: last edge for the board's watchdog. ``low_ms``: all five pins of the bridge low (None: not
    seen). ``quiet``: none rose from then until the firmware was back. ``cause``: what it then says caused the
    reset. ``still``: none rose for UNASKED_S behind that, although a computer has said hello and has set
    limits; looked at after the chip's watchdog alone.
    """

    fed_ms: float = 0.0
    low_ms: float | None = None
    quiet: bool = False
    cause: str = ""
    still: bool = False


@dataclass
class Findings:
    """What was found, by code; times of the first cut in ns."""

    ready: dict[int, Outcome] = field(default_factory=dict)
    driven: dict[int, Outcome] = field(default_factory=dict)
    cut_ns: list[float] = field(default_factory=list)
    main_loop: Hang = field(default_factory=Hang)
    processor: Hang = field(default_factory=Hang)
    reset: Hang = field(default_factory=Hang)


def measure(bench: FaultBench) -> Findings:
    """Raise everything on one booted chip. The bench is left as after power-up."""
    found = Findings()
    hang_in_turn(bench, found)
    for _ in raise_causes(bench, found):
        pass
    return found


def raise_causes(bench: FaultBench, found: Findings) -> Iterator[tuple[ChipCause, Outcome]]:
    """Raise each cause around the chip, with the bridge off and while a part is driven, and a power cut.

    What needs a warm power-up comes behind that. Yields each as it is known.
    """
    for cause in READY:
        found.ready[cause.code] = _raise(bench, cause, driven=False)
        yield cause, found.ready[cause.code]
        bench.recover()
    for cause in DRIVEN:
        found.driven[cause.code] = _raise(bench, cause)
        yield cause, found.driven[cause.code]
        bench.recover()
    bench.drive()
    found.reset = power_cut(bench)
    found.driven[HOT.code] = _raise(bench, HOT)
    yield HOT, found.driven[HOT.code]


def hang_in_turn(bench: FaultBench, found: Findings) -> None:
    """The comparator's first cut, then the main loop hangs, then the processor."""
    bench.drive()
    found.cut_ns = first_cut_ns(bench)
    bench.disarm()
    found.main_loop = hang(bench, interrupts_off=False)
    found.processor = hang(bench, interrupts_off=True)


def _raise(bench: FaultBench, cause: ChipCause, driven: bool = True) -> Outcome:
    if driven:
        bench.drive()
    bench.status()  # its longest tick begins anew
    return bench.cause(cause.begin(bench), lambda: cause.end(bench))


def first_cut_ns(bench: FaultBench) -> list[float]:
    """Comparator's edge to the enable line low, at several phases, while the whole firmware drives a part."""
    machine, trip = bench.machine, bench.world.gpio("TRIP_N")
    pulled: list[float] = []

    def pull() -> None:
        pulled.append(machine.now_ns)
        trip.set_input_value(False)

    edge, release = machine.alarm(pull), machine.alarm(lambda: trip.set_input_value(True))
    delays = []
    for i in range(PHASES):
        ahead_ns = PERIOD_NS * (2 + i / PHASES)
        edge.schedule(ahead_ns)
        release.schedule(ahead_ns + 600)
        bench.beat(6 * PERIOD_NS * 1e-9)
        delays.append(bench.edges.fell["BRIDGE_ENABLE"] - pulled[-1])
    return delays


def hang(bench: FaultBench, interrupts_off: bool) -> Hang:
    """Let the main loop hang while a part is driven, with ``interrupts_off`` the tick too."""
    bench.limits(heartbeat_ms=SLOW_HEARTBEAT_MS)
    bench.drive()
    bench.park(interrupts_off)
    began_ns = bench.began_ns
    machine = bench.machine
    machine.run(0.3, lambda: machine.now_ns - max(bench.fed_ns, began_ns) > FED_NO_MORE_S * 1e9)
    found = Hang(fed_ms=(bench.fed_ns - began_ns) * 1e-6)
    if interrupts_off:
        machine.run(1.5, lambda: bench.edges.all_low)
        _back(bench, found, began_ns)
        rose_ns = bench.edges.rose_ns
        machine.run(UNASKED_S)
        found.still = bench.edges.all_low and bench.edges.rose_ns == rose_ns
        return found
    bench.unpark()
    bench.beat(0.05)
    found.cause = bench.status().state
    bench.disarm()
    bench.recover()
    return found


def power_cut(bench: FaultBench) -> Hang:
    """Take the chip's supply away while a part is driven; the heatsink is warm when it comes back."""
    bench.reset()
    bench.board.bench.set("heatsink", WARM_C)
    return _back(bench, Hang(fed_ms=(bench.fed_ns - bench.began_ns) * 1e-6), bench.began_ns)


def _back(bench: FaultBench, found: Hang, began_ns: float) -> Hang:
    machine, edges = bench.machine, bench.edges
    if not edges.all_low:
        return found
    low_ns = max(edges.fell.values())
    found.low_ms = (low_ns - began_ns) * 1e-6
    machine.run(3.0, lambda: bench.fed_ns > low_ns)
    found.quiet = edges.rose_ns < low_ns and bench.fed_ns > low_ns
    found.cause = bench.connect()
    return found


def cause_rows(image: Path) -> Iterator[Row]:
    """Rows of the chip's report: the causes around the chip, and the longest tick that handles each."""
    found = Findings()
    for cause, record in raise_causes(FaultBench(image), found):
        if cause in READY:
            yield f"fault on the chip with the bridge off: {cause.what}", _outcome(record)
            yield f"{LONGEST_TICK}, with the bridge off: {cause.what}", _longest(record)
        else:
            yield _off_row(cause, record)
            yield f"{LONGEST_TICK}: {cause.what}", _longest(record)
    yield f"{TIME_TO_OFF}: chip without supply", _hang(found.reset)


def hang_rows(image: Path) -> Iterator[Row]:
    """Rows of the chip's report: the first cut, and hangs."""
    found = Findings()
    hang_in_turn(FaultBench(image), found)
    most = max(found.cut_ns)
    yield (
        f"{TIME_TO_OFF}: comparator's first cut, whole firmware driving",
        f"at most {most:.0f} ns in {PHASES} phases",
    )
    fed_ms = found.main_loop.fed_ms
    yield f"{TIME_TO_OFF}: main loop hangs, by the board's watchdog", f"{fed_ms + BOARD_WATCHDOG_MS:.1f} ms"
    fed_ms = found.processor.fed_ms
    yield (
        f"{TIME_TO_OFF}: main loop and tick hang, by the board's watchdog",
        f"{fed_ms + BOARD_WATCHDOG_MS:.1f} ms",
    )
    yield f"{TIME_TO_OFF}: main loop and tick hang, by the chip's own watchdog", _hang(found.processor)
    yield (
        f"gate pins for {UNASKED_S:g} s after that reset, while no computer requests a self-test",
        "all low" if found.processor.still else "NOT all low",
    )


def _off_row(cause: ChipCause, record: Outcome) -> Row:
    off = "stays on" if record.off_ms is None else f"{record.off_ms:.2f} ms"
    return f"{TIME_TO_OFF}: {cause.what}", f"{off} (promised {cause.most_ms:g}), {_outcome(record)}"


def _longest(record: Outcome) -> str:
    return f"{record.status.counters['tick_max_us']} us"


def _outcome(record: Outcome) -> str:
    row = faults.row(record.code)
    return f"{record.code} {row[1] if row else 'nothing reported'}, {record.status.state}"


def _hang(found: Hang) -> str:
    when = "not seen" if found.low_ms is None else f"{found.low_ms:.1f} ms"
    after = "low until the firmware is back" if found.quiet else "NOT low until the firmware is back"
    return f"{when}, {after}; it reports: {found.cause}"

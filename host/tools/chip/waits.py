"""Causes that only the chip can show: a laptop that does not read, sleeps or is pulled off; a slow flash.

Each row of the fault matrix from here is a run of the whole firmware on the emulated chip, driving a part.
Times are emulated ones, read off the pins and out of the bench's own log.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from strokebench.errors import LinkLost
from strokebench.link import conversion
from strokebench.sim.chip import flash
from strokefw import faults, state

from tools import DOCS
from tools.chip.faults import HEARTBEAT_MS, FaultBench
from tools.evidence.faults.page import CHIP_TITLE, shown, split

ROWS_LOST_S = 0.85
"""Long enough for the ring of 256 rows to be full, and for the loss to be looked at, twice a second."""
SLEEP_S = 1.3
"""Longer than the chip's watchdog waits."""
PULLED_S, FLASH_S, BACK_S, ROWS_S = 0.4, 0.2, 0.15, 0.1
CHIP_HEAD = f"""\
{CHIP_TITLE}

`python -m tools.chip.waits` makes this table. It leaves the rest of the page as it is. The whole firmware
and MicroPython run on an emulated RP2040. Its USB port can make the firmware wait, and its flash takes
time to erase and to program ([details](explanation/on-the-chip.md)). All causes are run on one chip, one
after the other. Each begins while a part is driven. The host may be silent for {HEARTBEAT_MS} ms. The
other states are not run, because nothing is driven in them and each second takes long to compute.
tests/chip/test_firmware.py raises the same causes.

- **lasts**: duration of the cause in ms.
- **reported**: the worst code in the bench's log and in its event messages. The host reads the log after
  the cause has ended. The log keeps faults, but not warnings such as 63.
- **after**: ms from the cause to the code, by the bench's own clock.
- **off**: ms from the cause until the bridge is off, by the chip's pins. `on` means that the bridge stays
  on.
- **ends in**: state after the cause. **resets**: resets by the chip's watchdog until then.
- **erases**: erases of the flash while the cause lasted. **rows lost**: rows that the bench counted as
  lost.

| code | cause | lasts | reported | after | off | ends in | resets | erases | rows lost |
| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |
"""


@dataclass(frozen=True)
class LinkCause:
    """``begin`` and ``end`` a cause that lasts ``seconds``; ``code``: what the pages promise, 0 nothing."""

    code: int
    how: str
    seconds: float
    begin: Callable[[FaultBench], None]
    end: Callable[[FaultBench], None]
    hears: bool = False
    """Whether the bench goes on hearing the laptop."""


@dataclass(frozen=True)
class LinkCell:
    """What one run came to.

    ``code`` reported by the bench since the cause began, ``after_ms`` after that; ``off_ms`` by the pins
    (None: stays on); state ``ends_in``; ``resets`` by the chip's watchdog until then, and ``erases`` of the
    flash while the cause lasted; ``lost`` rows counted since it began.
    """

    code: int
    after_ms: int | None
    off_ms: float | None
    ends_in: str
    resets: int
    erases: int
    lost: int


def _replug(bench: FaultBench) -> None:
    bench.machine.usb.plug_in()
    bench.machine.run(1.0, lambda: bench.machine.usb.connected)


def fall_asleep(bench: FaultBench) -> None:
    """The laptop sleeps in the middle of a frame: a write of the rest waits longest then."""
    usb = bench.machine.usb
    usb.sleep_in_a_frame()
    if not bench.machine.run(ROWS_S, lambda: usb.asleep):
        raise AssertionError("no frame of rows came")


def _sleep(bench: FaultBench) -> None:
    bench.machine.flash.times = flash.WORST
    fall_asleep(bench)


def _wake(bench: FaultBench) -> None:
    bench.machine.usb.wake()
    bench.machine.flash.times = flash.TYPICAL


def _slow_flash(bench: FaultBench) -> None:
    bench.machine.flash.times = flash.WORST


STOPPED = LinkCause(
    faults.SAMPLES_DROPPED,
    "computer does not read",
    ROWS_LOST_S,
    lambda bench: bench.machine.usb.stop_reading(),
    lambda bench: bench.machine.usb.go_on_reading(),
    hears=True,
)
BUSY = LinkCause(0, "flash busy: erases of 400 ms", FLASH_S, _slow_flash, lambda bench: None, hears=True)
ASLEEP = LinkCause(faults.HEARTBEAT_LOST, "laptop asleep, erases of 400 ms", SLEEP_S, _sleep, _wake)
PULLED = LinkCause(
    faults.HEARTBEAT_LOST, "cable pulled", PULLED_S, lambda bench: bench.machine.usb.unplug(), _replug
)
CAUSES = (STOPPED, BUSY, ASLEEP, PULLED)
"""In this order: the first two leave the part driven for the next."""


def run(bench: FaultBench, cause: LinkCause) -> LinkCell:
    """Drive, let the cause act, end it."""
    if not bench.edges.high("BRIDGE_ENABLE"):
        bench.drive()
    before = bench.link.request("status", answer="status_report").fields
    status_ns, resets, erases = bench.machine.now_ns, bench.resets, bench.machine.flash.erases
    bench.forget_events()
    cause.begin(bench)
    began_ns = bench.machine.now_ns
    began_tick = before["tick"] + round((began_ns - status_ns) * 1e-6)
    if cause.hears:
        bench.beat(cause.seconds)
    else:
        bench.machine.run(cause.seconds)
    off_ms = None
    if not bench.edges.high("BRIDGE_ENABLE"):
        off_ms = (bench.edges.fell["BRIDGE_ENABLE"] - began_ns) * 1e-6
    erases = bench.machine.flash.erases - erases
    cause.end(bench)
    code, code_tick = _reported(bench, began_tick)
    after_ms = None if code_tick is None else code_tick - began_tick
    status, resets = bench.status(), bench.resets - resets
    if status.state == "latched":
        bench.recover()
    lost = status.counters["lost_rows"] - (0 if resets else before["lost_rows"])
    return LinkCell(code, after_ms, off_ms, status.state, resets, erases, lost)


def _reported(bench: FaultBench, since_tick: int) -> tuple[int, int | None]:
    """The worst code in the bench's log and event messages since then, and the tick at which it came."""
    bench.beat(BACK_S)
    try:
        report = bench.link.request("events", answer="event_log", timeout_s=3)
    except LinkLost:
        bench.connect()
        report = bench.link.request("events", answer="event_log", timeout_s=3)
    rows = [(tick, kind, code) for tick, kind, code, *_ in conversion.tail_rows(report)]
    rows += [(tick, *event) for tick, event in zip(bench.event_ticks, bench.events, strict=True)]
    codes = [
        (code, tick)
        for tick, kind, code in rows
        if kind in (state.EVENT_FAULT, state.EVENT_WARNING) and code and tick >= since_tick
    ]
    return max(codes, key=lambda row: int(faults.SEVERITY[row[0]]), default=(0, None))


def cells(bench: FaultBench) -> Iterator[tuple[LinkCause, LinkCell]]:
    """Everything, on one chip."""
    for cause in CAUSES:
        cell = run(bench, cause)
        print(f"{cause.how}: {cell}", flush=True)
        yield cause, cell


def chip_section(cells: Iterable[tuple[LinkCause, LinkCell]]) -> str:
    """Return the part of the page with runs on the emulated chip."""
    return CHIP_HEAD + "".join(_chip_line(cause, cell) + "\n" for cause, cell in cells)


def _chip_line(cause: LinkCause, cell: LinkCell) -> str:
    after = "" if cell.after_ms is None else str(cell.after_ms)
    off = "on" if cell.off_ms is None else f"{cell.off_ms:.1f}"
    return (
        f"| {cause.code or '-'} | {cause.how} | {cause.seconds * 1000:.0f} | {shown(cell.code)} | {after} |"
        f" {off} | {cell.ends_in} | {cell.resets} | {cell.erases} | {cell.lost} |"
    )


def main() -> None:
    """Run the causes and put what came of them into the page."""
    parser = argparse.ArgumentParser(prog="python -m tools.chip.waits", description=__doc__)
    parser.add_argument("--page", type=Path, default=DOCS / "fault-matrix.md")
    path = parser.parse_args().page
    before, _, behind = split(path.read_text("utf-8"))
    made = chip_section(cells(FaultBench()))
    path.write_text(f"{before}{made.rstrip()}\n\n{behind}", encoding="utf-8", newline="\n")
    print(f"Written: {path}")


if __name__ == "__main__":
    main()

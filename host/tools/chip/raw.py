"""The endless stream on the emulated chip: what rate loses nothing, at rest and while driving.

    python -m tools.chip.raw IMAGE [SECONDS]

Compared with what the converter makes (500 000 conversions a second: 96 clocks of 48 MHz, RP2040 datasheet
4.9) and with what full-speed USB carries (19 bulk packets of 64 bytes in a frame of 1 ms, USB 2.0 table 5-9).
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from strokebench.bench.bench import Bench
from strokebench.bench.stream import RawStream
from strokebench.parts import load_part
from strokefw.link import wire

from tools.chip.drive import ready_bench, there_and_back

RATES_HZ = (125_000, 62_500, 41_666, 31_250, 25_000, 15_625)
REST_S = 0.5
SECONDS = 1.2
ADC_HZ = 500_000
USB_BYTES = 19 * 64 * 1000
BYTES_PER_READING = (wire.RAW_COUNTS_MAX * 1.5 + 8 + 2 + 4 + 3) / wire.RAW_COUNTS_MAX
"""Head, type and number, CRC, COBS and the closing zero shared out."""
KEEPS_UP = 0.95
"""Share of the readings that must have come: fewer pile up in the chip's memory, to be lost later."""


@dataclass
class Streamed:
    """One stretch: readings that came, lost ones, emulated seconds, rows that came and rows lost."""

    rate_hz: float
    came: int = 0
    lost: int = 0
    spent_s: float = 0.0
    rows: int = 0
    lost_rows: int = 0
    overruns: int = 0
    tick_mean_us: int = 0

    @property
    def whole(self) -> bool:
        """Whether nothing was lost, no reading, row or tick, and nothing piles up to be lost later."""
        piles_up = self.came < KEEPS_UP * self.rate_hz * self.spent_s
        return not (self.lost or self.lost_rows or self.overruns or piles_up)


def _note(found: Streamed, stream: RawStream, timeout_s: float = 0.0) -> None:
    for piece in stream.ready(timeout_s):
        found.came += len(piece.values)
        found.lost = piece.lost


def at_rest(bench: Bench, rate_hz: int, seconds: float) -> Streamed:
    """Stream in READY with the rows of every tick."""
    now = bench.link.port.now
    bench.link.request("stream", 1)
    bench.link.poll(0)
    before = bench.status().counters
    with bench.raw("current_coarse", rate_hz) as stream:
        found = Streamed(stream.rate_hz)
        began_s = now()
        while now() - began_s < seconds:
            _note(found, stream, 0.005)
            found.rows += sum(message.fields["count"] for message in bench.link.poll(0))
        found.spent_s = now() - began_s
        _close(bench, found, before)
    bench.link.request("stream", 0)
    return found


def while_driving(bench: Bench, rate_hz: int, seconds: float) -> Streamed:
    """Stream beside a run, when the plate rests: as it falls back it makes a voltage, and nothing arms."""
    now = bench.link.port.now
    rest_s = now() + REST_S
    while now() < rest_s:
        bench.link.poll(0.1)
    bench.set_limits(load_part("throttle-body").limits)
    bench.arm()
    before = bench.status().counters
    with bench.raw("current_coarse", rate_hz) as stream:
        found = Streamed(stream.rate_hz)
        began_s = now()
        run = bench.run(there_and_back(seconds))
        run.chunk_rows = 20
        for rows in run:
            found.rows += len(rows)
            _note(found, stream)
        found.spent_s = now() - began_s
        _close(bench, found, before)
        found.lost_rows += run.lost_rows
    bench.disarm()
    return found


def _close(bench: Bench, found: Streamed, before: dict[str, int]) -> None:
    after = bench.status().counters
    found.lost_rows = after["lost_rows"] - before["lost_rows"]
    found.overruns = after["overruns"] - before["overruns"]
    found.tick_mean_us = after["tick_mean_us"]


def rows(bench: Bench, seconds: float = SECONDS) -> Iterator[tuple[str, str]]:
    """The highest rate that loses nothing for ``seconds``, at rest and driving, beside the limits."""
    for what, measure in (("in READY", at_rest), ("while driving", while_driving)):
        for rate_hz in RATES_HZ:
            found = measure(bench, rate_hz, seconds)
            share = found.rate_hz * BYTES_PER_READING / USB_BYTES
            yield (
                f"endless stream {what} with the 1 kHz rows, {found.rate_hz:.0f} readings/s"
                f" ({found.rate_hz / ADC_HZ:.1%} of the converter's, {share:.0%} of full-speed USB)",
                f"{found.came} readings in {found.spent_s:.2f} s, {found.lost} lost; "
                f"{found.lost_rows} rows lost, {found.overruns} ticks missed, tick {found.tick_mean_us} us",
            )
            if found.whole:
                break


def main(arguments: list[str]) -> int:
    """Measure and print; returns the exit code."""
    if not 1 <= len(arguments) <= 2:
        print(__doc__)
        return 2
    seconds = float(arguments[1]) if len(arguments) == 2 else SECONDS
    for what, measured in rows(ready_bench(Path(arguments[0])), seconds):
        print(f"| {what} | {measured} |", flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))

"""The longest tick that handles a fault, on the emulated chip."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from strokefw import faults

from tools.chip.fault_causes import DRIVEN
from tools.chip.faults import FaultBench

CODES = (
    faults.ESTOP, faults.TRIPS, faults.NO_SUPPLY, faults.SUPPLY_HIGH, faults.FEED_RANGE,
    faults.HEARTBEAT_LOST,
)  # fmt: skip
"""One of each way: off at once and latched, off without a latch, a ramp to zero first, and the link's."""


def longest_us(bench: FaultBench) -> dict[int, int]:
    """By code: the longest tick from driving until the fault is over and known."""
    found = {}
    for cause in DRIVEN:
        if cause.code not in CODES:
            continue
        bench.drive()
        bench.status()  # its maxima begin anew with each
        outcome = bench.cause(cause.begin(bench), lambda cause=cause: cause.end(bench))  # type: ignore[misc]
        found[outcome.code] = outcome.status.counters["tick_max_us"]
        bench.recover()
    return found


def rows(image: Path) -> Iterator[tuple[str, str]]:
    """Rows of the chip's report."""
    for code, longest in longest_us(FaultBench(image)).items():
        row = faults.row(code)
        yield f"longest tick that handles a fault: {row[1] if row else 'none'}", f"{longest} us"

"""The tick on a chip whose flash is as slow as a real one's: as long as docs/explanation/on-the-chip.md says.

Needs a Python whose emulator models the flash cache (its head is in host/tools/chip/report.py), named by
STROKEBENCH_PICO_CACHED_PYTHON. STROKEBENCH_PICO_KEPT may name the folder of the report's --keep: parts
that were made of this very firmware and image are taken from there, and those made here are left there.
"""

from __future__ import annotations

import os
import re
from pathlib import Path

import pytest
from strokebench.sim.chip.machine import ChipUnavailable
from strokebench.sim.engine import chip
from tools.chip import report
from tools.chip.fault_causes import DRIVEN, HOT, READY

PYTHON_VARIABLE = "STROKEBENCH_PICO_CACHED_PYTHON"
KEPT_VARIABLE = "STROKEBENCH_PICO_KEPT"
pytestmark = [pytest.mark.chip, pytest.mark.long]
TICK_MAX_US, FAULT_TICK_MAX_US, HEAP_MIN_KB = 500, 700, 100.0


def rows(part: str) -> list[report.Row]:
    """Rows of a part of the report, made with the flash cache."""
    python = os.environ.get(PYTHON_VARIABLE)
    if not python:
        pytest.skip(f"{PYTHON_VARIABLE} names no Python whose emulator models the flash cache")
    try:
        image = chip.find_image()
    except ChipUnavailable as why:
        pytest.skip(f"emulated chip: {why}")
    kept = os.environ.get(KEPT_VARIABLE)
    keeper = report.Keeper(Path(kept) if kept else None, image)
    found, why = keeper.made(python, part, image, report.MISS_CYCLES)
    assert not why
    return found


def longest_us(part: str) -> dict[str, int]:
    """How long the longest ticks of a part took, by the words of their rows."""
    found = {what: re.fullmatch(r"(\d+) us", measured) for what, measured in rows(part) if "longest" in what}
    return {what: int(match[1]) for what, match in found.items() if match}


def test_no_tick_of_self_test_rest_or_a_run_takes_longer_than_half_a_millisecond() -> None:
    found = longest_us("whole")
    print(found)
    assert len(found) == 6 and max(found.values()) <= TICK_MAX_US, found


def test_no_tick_that_handles_a_fault_takes_longer_than_seven_tenths() -> None:
    found = longest_us("causes")
    print(found)
    assert len(found) == len((*DRIVEN, HOT, *READY)) and max(found.values()) <= FAULT_TICK_MAX_US, found


def test_the_firmware_leaves_as_much_heap_as_was_asked_for() -> None:
    found = {
        what: float(measured.removesuffix(" kB"))
        for what, measured in rows("whole")
        if what.startswith("free heap")
    }
    print(found)
    assert len(found) == 2 and min(found.values()) >= HEAP_MIN_KB, found

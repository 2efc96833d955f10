"""The emulated Pico for tests/chip: skipped, with the reason, without emulator or image."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from strokebench.bench.spec import SimSpec
from strokebench.image import files as chip_files
from strokebench.sim.board.board import SimBoard
from strokebench.sim.chip.machine import ChipMachine, ChipUnavailable
from strokebench.sim.chip.world import ChipWorld
from strokebench.sim.engine import chip

HERE = Path(__file__).parent
ALONE = tuple(
    f"strokefw/{name}"
    for name in (
        "pico/",
        "link/bus.",
        "link/cobs.",
        "link/__init__.",
        "slots.",
        "faults.",
        "state.",
        "compat.",
        "channels.",
        "__init__.",
    )
)
"""How the paths begin of the modules that the board needs, without the rest of the firmware."""

START = """
import time, gc, micropython
from array import array
from strokefw.pico.board import Board
b = Board()
b.trip_level(40000)  # until then the fast limit trips at no current
micropython.kbd_intr(3)
c = array('H', [0] * 13)
"""

END = """
b.close()
del b
gc.collect()
"""

STILL = """
from machine import mem32
mem32[0x4004C000] = 0
mem32[0x50200000] = 0
"""
"""Stops the converters of a board: ADC CS, and the enables in PIO0 CTRL (RP2040 datasheet 4.9.6, 3.7). With
half a million readings a second they are most of what an emulated second costs. Not every test needs them."""


def board_files() -> dict[str, bytes]:
    """The flash files of a Pico that has the board's modules and starts nothing by itself."""
    sources = {name: data for name, data in chip_files.firmware_sources().items() if name.startswith(ALONE)}
    return chip_files.precompiled(sources)


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """All of this folder needs packages and an image that not everybody has."""
    for item in items:
        if item.path.is_relative_to(HERE):
            item.add_marker(pytest.mark.extras)


@pytest.fixture(scope="session")
def filesystem() -> bytes:
    try:
        chip.find_image()
        return chip_files.filesystem(board_files())
    except ChipUnavailable as why:
        pytest.skip(f"emulated chip: {why}")


@pytest.fixture(scope="session")
def start_chip(filesystem: bytes) -> Callable[[], ChipMachine]:
    """What starts a Pico with the board's modules in its flash, up to MicroPython's prompt."""

    def start() -> ChipMachine:
        try:
            machine = ChipMachine(chip.find_image(), filesystem)
        except ChipUnavailable as why:
            pytest.skip(f"emulated chip: {why}")
        machine.wait_for_usb()
        return machine

    return start


@pytest.fixture(scope="session")
def wired(start_chip: Callable[[], ChipMachine]) -> ChipWorld:
    """A Pico on a simulated bench; the files that use it share it, as what costs is to load the modules."""
    return ChipWorld(start_chip(), SimBoard(SimSpec(), ideal=True))


@pytest.fixture(scope="module")
def world(wired: ChipWorld) -> Iterator[ChipWorld]:
    """The same with a board, constructed anew for each file as `b` in its REPL."""
    wired.machine.execute(START)
    yield wired
    wired.machine.execute(END)

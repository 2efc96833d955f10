"""Storing a record at the flash's worst times: the watchdog does not run out, and no tick follows too close.

The board alone, its converters stopped, with a tick that feeds the watchdog as the bench's does: for 100
ticks after the main loop was there. A start of the whole firmware is in test_firmware.py. About 20 CPU s.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from typing import Any

import pytest
from strokebench.bench.spec import SimSpec
from strokebench.image import files as chip_files
from strokebench.sim.board.board import SimBoard
from strokebench.sim.chip.flash import WORST
from strokebench.sim.chip.machine import ChipMachine
from strokebench.sim.chip.world import ChipWorld
from strokefw.sensing import calib
from strokefw.tick import events

from tests.chip.conftest import STILL

pytestmark = pytest.mark.chip
PROGRAM = f"""
import time
from strokefw.pico.board import Board
b = Board()
{STILL}
alive = [0]
seen = [0, 0, 0]  # ticks, those less than 0.9 ms behind the last, when that was
def tick():
    now = time.ticks_us()
    if time.ticks_diff(now, seen[2]) < 900:
        seen[1] += 1
    seen[0] += 1
    seen[2] = now
    if alive[0]:
        alive[0] -= 1
        if not alive[0] & 3:
            b.watchdog()
def store(n):
    longest = 0
    for i in range(n):
        pieces = b.store(1, bytes([i]) * 324)
        went_on = pieces is not None
        while went_on:
            alive[0] = 100
            began = time.ticks_ms()
            went_on = next(pieces, None) is not None
            longest = max(longest, time.ticks_diff(time.ticks_ms(), began))
            time.sleep_ms(3)
    return longest
def begin_a_long_one():
    alive[0] = 100
    began = time.ticks_ms()
    next(b.store(2, bytes(9000)))
    return time.ticks_diff(time.ticks_ms(), began)
b.start(tick)
"""
STORES = 2
LOG_BYTES = 324
"""The bench's log. It fits into littlefs's directory: two erases fall into one piece of the second store."""
PIECE_MS = 850
"""Most that one piece of it took here: two sectors; the laptop is not heard meanwhile."""
LONG_MS = 1100
"""More than the watchdog's second: three sectors in one piece, for 9000 bytes. None of ours is so long."""


@pytest.fixture(scope="module")
def pico(start_chip: Callable[[], ChipMachine]) -> ChipMachine:
    machine = start_chip()
    ChipWorld(machine, SimBoard(SimSpec(), ideal=True))
    machine.execute(PROGRAM)
    return machine


def test_slow_erases_neither_starve_the_watchdog_nor_pile_up_ticks(pico: ChipMachine) -> None:
    pico.flash.times = WORST
    before, connected = pico.flash.erases, pico.usb.connections
    log_ms = int(pico.execute(f"print(store({STORES}))", seconds=20.0))
    erases = pico.flash.erases - before
    long_ms = int(pico.execute("print(begin_a_long_one())", seconds=20.0))
    long_erases = pico.flash.erases - before - erases
    ticks, close_together, _ = map(int, pico.execute("print(*seen)").split())
    print("log: erases", erases, "longest piece ms", log_ms, "long record:", long_erases, long_ms)
    print("ticks", ticks, "close together", close_together)
    assert erases >= 2 and 800 < log_ms <= PIECE_MS
    assert long_erases >= 3 and long_ms > LONG_MS
    assert pico.usb.connections == connected
    assert pico.mcu.watchdog.read_uint32(8) == 0
    assert close_together == 0
    assert pico.execute(f"print(b.load(1) == bytes([{STORES - 1}]) * {LOG_BYTES})") == "True\n"


def test_afterwards_the_watchdog_is_as_short_as_before(pico: ChipMachine) -> None:
    connected = pico.usb.connections
    pico.execute("alive[0] = 0")
    pico.run(0.9)
    assert pico.usb.connections == connected
    pico.run(0.4)
    assert pico.usb.connections > connected
    assert pico.mcu.watchdog.read_uint32(8) == 1


def _mounted(contents: bytes) -> tuple[Any, Any]:
    """A flash that notes the sectors erased, in ``erased``, and littlefs on it as MicroPython mounts it."""
    from littlefs import LittleFS, UserContext

    flash: Any = UserContext(len(contents))
    flash.buffer[:] = contents
    flash.erased = []
    erase = flash.erase
    flash.erase = lambda config, block: (flash.erased.append(block), erase(config, block))[1]
    size, count = chip_files.FS_BLOCK, chip_files.FS_BLOCKS
    fs = LittleFS(
        context=flash, block_size=size, block_count=count, prog_size=256, read_size=32, cache_size=1024
    )
    fs.makedirs("slots", exist_ok=True)
    return flash, fs


def _store(fs: Any, slot: int, size: int) -> None:
    """What slots.py does."""
    for copy in ("a", "b"):
        with fs.open(f"slots/{slot}t", "wb") as file:
            file.write(bytes(size + 6))
        fs.rename(f"slots/{slot}t", f"slots/{slot}{copy}")


def test_a_store_of_log_or_calibration_erases_two_sectors_at_most(filesystem: bytes) -> None:
    flash, fs = _mounted(filesystem)
    counts: Counter[int] = Counter()
    for i in range(300):
        before = len(flash.erased)
        if i % 10:
            _store(fs, events.SLOT, LOG_BYTES)
        else:
            _store(fs, calib.SLOT, calib.RECORD_BYTES + calib.NOTE_BYTES)
        counts[len(flash.erased) - before] += 1
    print("stores by sectors erased", dict(counts))
    assert max(counts) == 2 and counts[1] > 150

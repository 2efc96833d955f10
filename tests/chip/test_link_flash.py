"""Storing a record at the flash's worst times: the watchdog does not run out, and no tick follows too close.

The board alone, with a tick that feeds the watchdog as the bench's does: for 100 ticks after the main loop
was there. About 60 CPU s.
"""

from __future__ import annotations

import pytest
from strokebench.bench.spec import SimSpec
from strokebench.sim.board.board import SimBoard
from strokebench.sim.chip.flash import WORST
from strokebench.sim.chip.machine import ChipMachine, ChipUnavailable
from strokebench.sim.chip.world import ChipWorld
from strokebench.sim.engine import chip

pytestmark = pytest.mark.chip
PROGRAM = """
import time
from strokefw.pico.board import Board
b = Board()
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
b.start(tick)
"""
STORES = 3
PIECE_MS = 850
"""Most that one piece took here: two sectors; the laptop is not heard meanwhile."""


@pytest.fixture(scope="module")
def pico(filesystem: bytes) -> ChipMachine:
    try:
        machine = ChipMachine(chip.find_image(), filesystem)
    except ChipUnavailable as why:
        pytest.skip(f"emulated chip: {why}")
    machine.wait_for_usb()
    ChipWorld(machine, SimBoard(SimSpec(), ideal=True))
    machine.execute(PROGRAM)
    return machine


def test_slow_erases_neither_starve_the_watchdog_nor_pile_up_ticks(pico: ChipMachine) -> None:
    pico.flash.times = WORST
    before, connected = pico.flash.erases, pico.usb.connections
    longest_ms = int(pico.execute(f"print(store({STORES}))", seconds=20.0))
    erases = pico.flash.erases - before
    ticks, close_together, _ = map(int, pico.execute("print(*seen)").split())
    print("erases", erases, "longest piece ms", longest_ms, "ticks", ticks, "close together", close_together)
    assert erases > 2 * STORES  # two or more are due in one store: together longer than the watchdog waits
    assert pico.usb.connections == connected
    assert pico.mcu.watchdog.read_uint32(8) == 0
    assert close_together == 0
    assert longest_ms <= PIECE_MS
    assert pico.execute("print(b.load(1) == bytes([2]) * 324)") == "True\n"


def test_afterwards_the_watchdog_is_as_short_as_before(pico: ChipMachine) -> None:
    connected = pico.usb.connections
    pico.execute("alive[0] = 0")
    pico.run(0.9)
    assert pico.usb.connections == connected
    pico.run(0.4)
    assert pico.usb.connections > connected
    assert pico.mcu.watchdog.read_uint32(8) == 1

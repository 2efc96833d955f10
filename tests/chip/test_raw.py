"""The endless stream on the emulated chip: its kernels, no heap in the tick, a rate that loses nothing."""

from __future__ import annotations

import ast

import pytest
from strokebench.bench.spec import SimSpec
from strokebench.sim.board.board import SimBoard
from strokebench.sim.chip.machine import ChipMachine, ChipUnavailable
from strokebench.sim.chip.world import ChipWorld
from strokebench.sim.engine import chip
from strokebench.sim.engine.chip import quiet_machine
from tools.chip import raw as chip_raw
from tools.chip.drive import ready_bench

pytestmark = pytest.mark.chip
KERNELS = """
import os, time
from array import array
from uctypes import addressof
from strokefw.link import cobs
from strokefw.pico import cobs as fast_cobs, raw
wrong = 0
one, other = bytearray(700), bytearray(700)
for n in (1, 2, 253, 254, 255, 256, 508, 509, 566):
    for zeros in (0, 2, 60, 256):
        data = bytearray(os.urandom(n))
        for i in range(n):
            data[i] = (0 if data[i] < zeros else data[i]) if zeros else data[i] or 1
        length = cobs.encode_bytewise(data, n, one)
        if fast_cobs.encode(data, n, other) != length or one[:length] != other[:length]:
            wrong += 1
codes = array("H", [i * 977 & 4095 for i in range(400)])
state = array("i", [0, 0, 0, 0, 0, 0, 0, 11, 2047, 0, 0])
raw.pack(state, array("i", [addressof(codes)]), one, 328)
raw.pack_run(addressof(codes), other, 164)
print((wrong, one[:492] == other[:492], bytes(one[:6])))
"""
HEAP = """
import gc
gc.threshold(12000)
import micropython
from array import array
from strokefw.pico.board import Board
b = Board()
micropython.kbd_intr(3)
rate = b.raw_start(0, 125000)
c = array('H', [0] * 13)
def scans(scan, c):
    micropython.heap_lock()
    try:
        for i in range(200): scan(c)
        return True
    except MemoryError:
        return False
    finally:
        micropython.heap_unlock()
locked = scans(b.scan, c)
had = b.raw_head()
b.raw_stop()
print((rate, locked, had > 500))
"""


def machine() -> ChipMachine:
    """A chip with our modules in its flash and nothing running."""
    try:
        return quiet_machine()
    except ChipUnavailable as why:
        pytest.skip(f"emulated chip: {why}")


def test_the_assembler_does_what_the_plain_code_does() -> None:
    wrong, packed, head = ast.literal_eval(machine().execute(KERNELS, 20))
    assert wrong == 0 and packed
    assert head == bytes.fromhex("00103da237b7")  # codes 0, 977, 1954, 2931 by the words of docs/protocol.md


@pytest.mark.long
def test_the_scan_takes_no_heap_while_it_streams() -> None:
    made = machine()
    ChipWorld(made, SimBoard(SimSpec(), ideal=True))
    assert ast.literal_eval(made.execute(HEAP, 20)) == (125_000, True, True)


@pytest.mark.long
def test_62500_readings_a_second_lose_nothing_at_rest_and_driving() -> None:
    try:
        bench = ready_bench(chip.find_image())
    except ChipUnavailable as why:
        pytest.skip(f"emulated chip: {why}")
    for measure in (chip_raw.at_rest, chip_raw.while_driving):
        found = measure(bench, 62_500, 1.1)
        assert found.whole and found.spent_s >= 1.1, found
        assert found.rows >= 1000
    bench.close()

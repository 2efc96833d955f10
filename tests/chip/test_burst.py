"""Bursts on the emulated chip: every reading once and in order, through converter, PIO, DMA and unpacking."""

from __future__ import annotations

import ast
from collections.abc import Iterator

import pytest
from strokebench.sim.chip.world import ChipWorld

pytestmark = pytest.mark.chip
LATE = 8
"""Readings by which the trigger may come late: three on the way into memory, and the chip's own time."""

CAPTURE = """
started = b.burst_start(0, {rate_hz}, {count}, {pre})
highest = []
while b.burst_ready() == 0:
    time.sleep_us(600)
    b.scan(c)
    highest.append(c[11] >> 4)
    if len(highest) == {trigger_at}:
        b.burst_trigger()
held = bytearray(2 * {count} + 2)
n = b.burst_copy(0, held)
odd = bytearray(10)
m = b.burst_copy(3, odd)
from binascii import hexlify
print((started, n, hexlify(held[:n]), m, hexlify(odd), highest))
"""


@pytest.fixture
def counting(world: ChipWorld) -> Iterator[None]:
    """The converter's readings are 0, 1, 2, ... 4095, 0, ..."""
    next_code = iter(range(1 << 30))
    usual = world.inputs._code
    world.inputs._code = lambda channel: next(next_code) & 0xFFF
    yield
    world.inputs._code = usual


def _codes(hexed: bytes) -> list[int]:
    counts = memoryview(bytes.fromhex(hexed.decode())).cast("H").tolist()
    assert all(count & 0xF == 0 for count in counts)  # left aligned
    return [count >> 4 for count in counts]


@pytest.mark.parametrize(
    ("rate_hz", "count", "pre", "trigger_at"),
    [(500_000, 3001, 0, 0), (500_000, 1500, 700, 5), (100_000, 400, 101, 4)],
)
@pytest.mark.usefixtures("counting")
def test_every_reading_comes_once_and_in_order(
    world: ChipWorld, rate_hz: int, count: int, pre: int, trigger_at: int
) -> None:
    program = CAPTURE.format(rate_hz=rate_hz, count=count, pre=pre, trigger_at=trigger_at)
    started, n, held, m, odd, highest = ast.literal_eval(world.machine.execute(program, 60))
    assert started == rate_hz and n == 2 * count
    codes = _codes(held)
    assert codes == [(codes[0] + i) & 0xFFF for i in range(count)]
    assert m == 10 and _codes(odd) == codes[3:8]  # a copy may begin with an odd one
    if pre:  # what came after the scan before the trigger lies behind it
        assert 0 < (codes[pre] - highest[trigger_at - 1]) & 0xFFF <= LATE + rate_hz * 200 // 1_000_000

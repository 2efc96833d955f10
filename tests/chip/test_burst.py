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

HOLES = """
began = once = free = rate = spent = left = enabled = size = i = 0  # names take heap when they are new
rest = None
holes, kept = [None] * {holes}, [None] * {holes}
gc.collect()
room = bytearray({holes} * ({hole} + 350))
size = 16384
while size > 63:  # all the rest is taken, so that the holes lie in that room and nowhere else
    try:
        rest = rest, bytearray(size)
    except MemoryError:
        size //= 2
room = None
gc.collect()
for i in range({holes}):
    holes[i] = bytearray({hole})
    kept[i] = bytearray(300)
for i in range({holes}):
    holes[i] = None
began = time.ticks_us()
gc.collect()
once = time.ticks_diff(time.ticks_us(), began)
free = gc.mem_free()
began = time.ticks_us()
rate = b.burst_start(0, 500000, 50000, 0)
spent = time.ticks_diff(time.ticks_us(), began)
left = gc.mem_free()
enabled = gc.isenabled()
while rate and not b.burst_ready():
    b.scan(c)
    time.sleep_us(600)
b.close()
del b
rest = holes = kept = None
gc.collect()
b = Board()
print((free, rate, once, spent, left, enabled))
"""
"""Begins the longest burst on a heap whose free memory is in so many holes."""
BYTES, SPARE = 75_000, 8_192
"""What the readings take, and what a burst leaves."""
COLLECTIONS_MAX = 2.0


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


@pytest.mark.slow
def test_the_longest_burst_fits_between_what_is_in_use(world: ChipWorld) -> None:
    program = HOLES.format(hole=2_500, holes=37)
    free, rate, once_us, spent_us, left, enabled = ast.literal_eval(world.machine.execute(program, 60))
    print(free, once_us, spent_us, left)
    assert rate == 500_000 and enabled and left >= SPARE


@pytest.mark.slow
@pytest.mark.parametrize(("hole", "holes"), [(1_500, 58), (82_000, 1)])
def test_one_that_does_not_fit_is_refused_in_the_time_of_one_collection(
    world: ChipWorld, hole: int, holes: int
) -> None:
    """The main loop may be away for 100 ms, and with the flash cache a collection takes 30 of them."""
    program = HOLES.format(hole=hole, holes=holes)
    free, rate, once_us, spent_us, _, enabled = ast.literal_eval(world.machine.execute(program, 60))
    print(free, once_us, spent_us)
    assert free > BYTES  # so it is the holes, or what it would not leave
    assert rate == 0 and enabled and spent_us <= COLLECTIONS_MAX * once_us

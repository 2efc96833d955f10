"""Bursts: one channel of the chip's converter at up to 500 kS/s, with what came before the trigger.

The readings go round and round through sixteen pieces of memory (one of 100 kB is not to be had on a used
heap) until enough follows the trigger. The tick watches, and lets the converter run freely again when it is
complete.
"""

import gc
from array import array

import micropython
from micropython import const
from uctypes import addressof

from strokefw import board_pico_dma as dma
from strokefw import board_pico_regs as regs
from strokefw.board_pico_adc import CLOCK_HZ, CYCLES

COUNT_MAX = const(50000)
_SLACK = const(800)  # readings: the tick sees the end up to 1 ms (500 readings) late
_NO_TRIGGER = const(0x3FFFFFFF)
_PIECES = const(16)  # a power of two
# the state, words that the kernels index by number: 0..15 addresses of the pieces, then
_PIECE = const(16)  # readings per piece
_PER_TICK = const(17)  # readings per tick
_LAST = const(18)  # position in the whole
_CAPTURED = const(19)
_TRIGGER = const(20)  # what was captured when the trigger came
_WANTED = const(21)  # readings behind the trigger
_CHANNEL = const(22)
_WORDS = const(23)


@micropython.viper
def _advance(write: ptr32, s: ptr32) -> int:
    # how far it has come; 1 when all that is wanted follows the trigger
    address = write[0]
    piece = s[_PIECE]
    position = s[_LAST]
    for i in range(_PIECES):
        offset = address - s[i]
        if offset >= 0:
            if offset <= piece << 1:
                position = i * piece + (offset >> 1)
    size = piece * _PIECES
    if position >= size:
        position = 0
    fresh = position - s[_LAST]
    if fresh < 0:
        fresh += size
    s[_LAST] = position
    s[_CAPTURED] += fresh
    if s[_TRIGGER] == _NO_TRIGGER:
        return 0
    return int(s[_CAPTURED] - s[_TRIGGER] >= s[_WANTED])


@micropython.viper
def _fill(s: ptr32, counts: ptr16):
    # the newest tick's readings of the burst's channel; a current stands in for both ranges, the bus for
    # itself. The first tick may come before there is a tick's worth of them: what lies before is no reading.
    n = s[_PER_TICK]
    if s[_CAPTURED] < n:
        n = s[_CAPTURED]
        if n == 0:
            return
    piece = s[_PIECE]
    at = s[_LAST] - n
    if at < 0:
        at += piece * _PIECES
    part = at // piece
    at -= part * piece
    memory = ptr16(s[part])
    total = 0
    high = 0
    low = 4095
    left = n
    while left:
        value = int(memory[at])
        total += value
        if value > high:
            high = value
        if value < low:
            low = value
        left -= 1
        at += 1
        if at == piece:
            at = 0
            part = (part + 1) & (_PIECES - 1)
            memory = ptr16(s[part])
    mean = (total << 4) // n
    if s[_CHANNEL] == 2:
        counts[2] = mean
        return
    high = high << 4
    low = low << 4
    if s[_CHANNEL] == 1:  # a tenth of the fine channel's deflection is the coarse one's
        mean = 32760 + (mean - 32760) // 10
        high = 32760 + (high - 32760) // 10
        low = 32760 + (low - 32760) // 10
    counts[0] = mean
    counts[11] = high
    counts[12] = low


@micropython.viper
def _copy(s: ptr32, target: ptr16, start: int, count: int):
    piece = s[_PIECE]
    part = start // piece
    at = start - part * piece
    memory = ptr16(s[part])
    for k in range(count):
        target[k] = int(memory[at]) << 4
        at += 1
        if at == piece:
            at = 0
            part = (part + 1) & (_PIECES - 1)
            memory = ptr16(s[part])


class Burst:
    """Bursts of I_COARSE, I_FINE or BUS (channels 0..2) on `converter`.

    While one runs the coarse current comes from its readings, from a tenth of the fine range's deflection,
    or (bus) keeps its last value; the external converter's fine current, and the comparator, work on
    regardless.
    """

    def __init__(self, converter):
        self._converter = converter
        self._keep, self._addresses = dma.aligned(4 * _PIECES)
        self._pair, self._plan = dma.chunks(regs.DREQ_ADC, regs.ADC + 12, self._addresses)
        self._write = dma.write_address(self._pair[0])
        self._s = array("i", [0] * _WORDS)
        self._memory = None
        self._pre = 0
        self._complete = 0
        self.running = False

    def start(self, channel, rate_hz, count, pre):
        """Begin to capture; returns the rate in Hz, 0 = refused (channel, count, or no memory for it)."""
        if self.running or not (
            0 <= channel <= 2 and 0 < count <= COUNT_MAX and 0 <= pre < count and rate_hz > 0
        ):
            return 0
        cycles = max(CYCLES, min(CLOCK_HZ // rate_hz, CLOCK_HZ // 1000))
        if not self._reserve((count + _SLACK + _PIECES - 1) // _PIECES):
            return 0
        s = self._s
        s[_CHANNEL] = channel
        s[_PER_TICK] = max(1, CLOCK_HZ // (1000 * cycles))
        s[_LAST] = s[_CAPTURED] = 0
        s[_TRIGGER] = _NO_TRIGGER if pre else 0  # nothing before: the start is the trigger
        s[_WANTED] = count - pre
        self._pre = pre
        self._complete = 0
        self._converter.one_channel(channel, cycles, self._plan)
        self.running = True
        return CLOCK_HZ // cycles

    def _reserve(self, piece):
        # what is large enough is kept: after one long burst the heap may not have such pieces a second time
        if not self._memory or len(self._memory[0]) < 2 * piece + 2:
            self._memory = None
            gc.collect()
            try:
                self._memory = [bytearray(2 * piece + 2) for _ in range(_PIECES)]
            except MemoryError:
                gc.collect()
                return False
        for i in range(_PIECES):
            self._s[i] = addressof(self._memory[i])
            regs.poke(self._addresses + 4 * i, self._s[i])
        self._s[_PIECE] = piece
        self._plan[5] = self._s[0]
        self._plan[6] = piece
        return True

    def scan(self, counts):
        """The tick's share. Allocates nothing."""
        done = _advance(self._write, self._s)
        _fill(self._s, counts)
        if done:
            self._converter.free_run()
            self.running = False
            self._complete = 1

    def trigger(self):
        """What comes from now on is behind the trigger; before it lie `pre` readings."""
        s = self._s
        if self.running and s[_TRIGGER] == _NO_TRIGGER:
            _advance(self._write, s)
            s[_TRIGGER] = max(s[_CAPTURED], self._pre)

    def ready(self):
        """1 when the burst is complete in memory."""
        return self._complete

    def copy(self, offset, buf):
        """Copy readings (12-bit codes left aligned, little endian) from `offset` on; returns how many
        bytes.
        """
        s = self._s
        first = (s[_TRIGGER] - self._pre + offset) % (_PIECES * s[_PIECE])
        count = min(len(buf) // 2, self._pre + s[_WANTED] - offset)
        if not self._complete or count <= 0:
            return 0
        _copy(s, buf, first, count)
        return 2 * count

    def lend(self, readings):
        """Let the endless stream have memory for `readings`; it sets its own `scan`, then `running`.

        Returns (pieces, array that begins with their addresses), or None: a burst runs, or no memory.
        """
        if self.running or not self._reserve(readings // _PIECES):
            return None
        self._complete = 0
        return _PIECES, self._s

    def give_back(self):
        """The stream has ended."""
        self.running = False
        del self.scan

    def close(self):
        """Give the DMA channels back."""
        dma.stop(regs.DMA, self._plan)
        for channel in self._pair:
            channel.close()

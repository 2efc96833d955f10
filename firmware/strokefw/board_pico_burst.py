"""Bursts: one channel of the chip's converter at up to 500 kS/s, with what came before the trigger.

The PIO packs eight 12-bit readings into three words, so that 50 000 of them take 75 kB. They go round and
round through sixteen pieces of memory (one of that size is not to be had on a used heap) until enough follows
the trigger. The tick watches, and lets the converter run freely again when it is complete.
"""

import gc
from array import array

import micropython
import rp2
from micropython import const
from uctypes import addressof

from strokefw import board_pico_dma as dma
from strokefw import board_pico_pio as programs
from strokefw import board_pico_regs as regs
from strokefw.board_pico_adc import CLOCK_HZ, CYCLES

COUNT_MAX = const(50000)
_SLACK = const(800)  # readings: the tick sees the end up to 1 ms (500 readings) late
_NO_TRIGGER = const(0x3FFFFFFF)
_PIECES = const(16)  # a power of two
_PACKER = const(2)  # state machine
_PIO0_RX2 = const(6)  # DMA request
# the state, words that the kernels index by number: 0..15 addresses of the pieces, then
_PIECE = const(16)  # readings per piece, a multiple of eight
_PER_TICK = const(17)  # readings per tick
_LAST = const(18)  # position in the whole
_CAPTURED = const(19)
_TRIGGER = const(20)  # what was captured when the trigger came
_WANTED = const(21)  # readings behind the trigger
_CHANNEL = const(22)
_TOTAL = const(23)  # of _sum, which knows these three as 92, 96 and 100 bytes
_HIGH = const(24)
_LOW = const(25)
_WORDS = const(26)


@micropython.viper
def _advance(write: ptr32, s: ptr32) -> int:
    # how far it has come, in whole pairs; 1 when all that is wanted follows the trigger
    address = write[0]
    piece = s[_PIECE]
    position = s[_LAST]
    for i in range(_PIECES):
        offset = address - s[i]
        if offset >= 0:
            if offset <= (piece * 3) >> 1:
                position = i * piece + ((offset >> 2 << 3) // 3 & -2)
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


@micropython.asm_thumb
def _sum(r0, r1, r2):
    # r1 pairs of readings from address r0 on, into total, highest and lowest of the state r2
    ldr(r3, [r2, 92])
    ldr(r4, [r2, 96])
    ldr(r5, [r2, 100])
    label(NEXT)
    ldrb(r6, [r0, 0])
    ldrb(r7, [r0, 1])
    lsl(r7, r7, 28)
    lsr(r7, r7, 20)
    orr(r6, r7)
    add(r3, r3, r6)
    cmp(r6, r4)
    ble(NOT_HIGH)
    mov(r4, r6)
    label(NOT_HIGH)
    cmp(r6, r5)
    bge(NOT_LOW)
    mov(r5, r6)
    label(NOT_LOW)
    ldrb(r6, [r0, 1])
    lsr(r6, r6, 4)
    ldrb(r7, [r0, 2])
    lsl(r7, r7, 4)
    orr(r6, r7)
    add(r3, r3, r6)
    cmp(r6, r4)
    ble(STILL_NOT_HIGH)
    mov(r4, r6)
    label(STILL_NOT_HIGH)
    cmp(r6, r5)
    bge(STILL_NOT_LOW)
    mov(r5, r6)
    label(STILL_NOT_LOW)
    add(r0, 3)
    sub(r1, 1)
    bne(NEXT)
    str(r3, [r2, 92])
    str(r4, [r2, 96])
    str(r5, [r2, 100])


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
    s[_TOTAL] = 0
    s[_HIGH] = 0
    s[_LOW] = 4095
    left = n
    while left:
        run = piece - at
        if run > left:
            run = left
        _sum(s[part] + ((at * 3) >> 1), run >> 1, s)
        left -= run
        at = 0
        part = (part + 1) & (_PIECES - 1)
    mean = (s[_TOTAL] << 4) // n
    if s[_CHANNEL] == 2:
        counts[2] = mean
        return
    high = s[_HIGH] << 4
    low = s[_LOW] << 4
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
    memory = ptr8(s[part])
    for k in range(count):
        byte = (at * 3) >> 1
        if at & 1:
            target[k] = (int(memory[byte]) & 0xF0) | int(memory[byte + 1]) << 8
        else:
            target[k] = (int(memory[byte]) << 4 | int(memory[byte + 1]) << 12) & 0xFFFF
        at += 1
        if at == piece:
            at = 0
            part = (part + 1) & (_PIECES - 1)
            memory = ptr8(s[part])


class Burst:
    """Bursts of I_COARSE, I_FINE or BUS (channels 0..2) on `converter`.

    While one runs the coarse current comes from its readings, from a tenth of the fine range's deflection,
    or (bus) keeps its last value; the external converter's fine current, and the comparator, work on
    regardless.
    """

    def __init__(self, converter):
        self._converter = converter
        self._keep, self._addresses = dma.aligned(4 * _PIECES)
        self._packer = rp2.StateMachine(_PACKER, programs.packer)
        self._pair, self._plan = dma.chunks(_PIO0_RX2, regs.PIO0 + regs.PIO_RXF2, self._addresses)
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
        eights = (count + _SLACK + 8 * _PIECES - 1) // (8 * _PIECES)
        if not self._reserve(12 * eights):
            return 0
        s = self._s
        s[_PIECE] = 8 * eights
        s[_CHANNEL] = channel
        s[_PER_TICK] = max(2, CLOCK_HZ // (1000 * cycles) & -2)
        s[_LAST] = s[_CAPTURED] = 0
        s[_TRIGGER] = _NO_TRIGGER if pre else 0  # nothing before: the start is the trigger
        s[_WANTED] = count - pre
        self._pre = pre
        self._complete = 0
        self._plan[5] = s[0]
        self._plan[6] = 3 * eights
        self._packer.init(programs.packer)  # from its start, with nothing left of the last burst
        dma.start(regs.DMA, self._plan)
        self._packer.active(1)
        self._converter.one_channel(channel, cycles)
        self.running = True
        return CLOCK_HZ // cycles

    def _reserve(self, size):
        # What is large enough is kept: after one long burst the heap may not have such pieces a second time.
        # A word more than the size: where one piece ends, another never begins.
        if not self._memory or len(self._memory[0]) < size + 4:
            self._memory = None
            gc.collect()
            try:
                self._memory = [bytearray(size + 4) for _ in range(_PIECES)]
            except MemoryError:
                gc.collect()
                return False
        for i in range(_PIECES):
            self._s[i] = addressof(self._memory[i])
            regs.poke(self._addresses + 4 * i, self._s[i])
        return True

    def scan(self, counts):
        """The tick's share. Allocates nothing."""
        done = _advance(self._write, self._s)
        _fill(self._s, counts)
        if done:
            self._converter.free_run()
            dma.stop(regs.DMA, self._plan)
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
        if self.running or not self._reserve(2 * readings // _PIECES):
            return None
        self._complete = 0
        return _PIECES, self._s

    def give_back(self):
        """The stream has ended."""
        self.running = False
        del self.scan

    def close(self):
        """Give the DMA channels back."""
        self._packer.active(0)
        dma.stop(regs.DMA, self._plan)
        for channel in self._pair:
            channel.close()

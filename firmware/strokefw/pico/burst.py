"""Bursts: one channel of the chip's converter at up to 500 kS/s, with what came before the trigger.

The PIO packs eight 12-bit readings into three words, so that 50 000 of them take 75 kB. They go round and
round through 32 pieces of memory (neither one of that size nor 16 are to be had on a used heap) until enough
follows the trigger. The tick watches, and lets the converter run freely again when it is complete.
"""

import gc
from array import array

import micropython
import rp2
from micropython import const
from uctypes import addressof

from strokefw import channels
from strokefw.compat import word
from strokefw.pico import dma, regs
from strokefw.pico import pio as programs
from strokefw.pico import scan as kernels
from strokefw.pico.converters import CLOCK_HZ, CYCLES

_sum_pairs = kernels.sum_pairs
COUNT_MAX = const(50000)
_SLACK = const(800)  # readings: the tick sees the end up to 1 ms (500 readings) late
_NO_TRIGGER = const(0x3FFFFFFF)
_PIECES = const(32)  # a power of two
_EIGHTS_MIN = const(48)  # readings of a piece, by eight: then a tick's share lies in three of them at most
_SPARE = const(8192)  # bytes: a burst leaves so much of the heap to what follows it, the store of the log too
_BLOCK = const(16)  # bytes: the heap's unit
_PACKER = const(2)  # state machine
_PIO0_RX2 = const(6)  # DMA request
# the state, words that the kernels index by number
_AT = const(0)  # where the addresses of the pieces are, one after the other
_PIECE = const(1)  # readings per piece, a multiple of eight
_PER_TICK = const(2)  # readings per tick
_LAST = const(3)  # position in the whole
_CAPTURED = const(4)
_TRIGGER = const(5)  # what was captured when the trigger came
_WANTED = const(6)  # readings behind the trigger
_CHANNEL = const(7)
# 8 to 10 are sum_pairs' (see scan.py)
_COMPLETE = const(11)
RUNNING = const(12)
_PRE = const(13)
_WORDS = const(14)


@micropython.viper
def _advance(write: ptr32, s: ptr32) -> int:
    # how far it has come, in whole pairs; 1 when all that is wanted follows the trigger
    address = write[0]
    pieces = ptr32(s[_AT])
    piece = s[_PIECE]
    position = s[_LAST]
    part = position // piece  # most often it is there still
    for _ in range(_PIECES):
        offset = address - pieces[part]
        if offset >= 0:
            if offset <= (piece * 3) >> 1:
                position = part * piece + ((offset >> 2 << 3) // 3 & -2)
                break
        part = (part + 1) & (_PIECES - 1)
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
def _mark(s: ptr32):
    if s[RUNNING]:
        if s[_TRIGGER] == _NO_TRIGGER:
            captured = s[_CAPTURED]
            if captured < s[_PRE]:
                captured = s[_PRE]
            s[_TRIGGER] = captured


@micropython.viper
def _fill(s: ptr32, counts: ptr16):
    # the newest tick's readings of the burst's channel; a current stands in for both ranges, the bus for
    # itself. The first tick may come before there is a tick's worth of them: what lies before is no reading.
    n = s[_PER_TICK]
    if s[_CAPTURED] < n:
        n = s[_CAPTURED]
        if n == 0:
            return
    pieces = ptr32(s[_AT])
    piece = s[_PIECE]
    at = s[_LAST] - n
    if at < 0:
        at += piece * _PIECES
    part = at // piece
    at -= part * piece
    s[kernels.TOTAL] = 0
    s[kernels.HIGH] = 0
    s[kernels.LOW] = 4095
    left = n
    while left:
        run = piece - at
        if run > left:
            run = left
        _sum_pairs(pieces[part] + ((at * 3) >> 1), run >> 1, s)
        left -= run
        at = 0
        part = (part + 1) & (_PIECES - 1)
    mean = (s[kernels.TOTAL] << 4) // n
    if s[_CHANNEL] == channels.BUS:
        counts[channels.BUS] = mean
        return
    high = s[kernels.HIGH] << 4
    low = s[kernels.LOW] << 4
    if s[_CHANNEL] == channels.I_FINE:  # a tenth of the fine channel's deflection is the coarse one's
        mean = channels.MID_SCALE + (mean - channels.MID_SCALE) // 10
        high = channels.MID_SCALE + (high - channels.MID_SCALE) // 10
        low = channels.MID_SCALE + (low - channels.MID_SCALE) // 10
    counts[channels.I_COARSE] = mean
    counts[channels.I_MAX] = high
    counts[channels.I_MIN] = low


@micropython.viper
def _copy(s: ptr32, target: ptr16, start: int, count: int):
    pieces = ptr32(s[_AT])
    piece = s[_PIECE]
    part = start // piece
    at = start - part * piece
    memory = ptr8(pieces[part])
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
            memory = ptr8(pieces[part])


class Burst:
    """Bursts of I_COARSE, I_FINE or BUS (channels 0..2) on `converter`.

    While one runs the coarse current comes from its readings, from a tenth of the fine range's deflection,
    or (bus) keeps its last value; the external converter's fine current, and the comparator, work on
    regardless.
    """

    running = word(RUNNING)

    def __init__(self, converter):
        self._converter = converter
        self._keep, self._addresses = dma.aligned(4 * _PIECES)
        self._packer = rp2.StateMachine(_PACKER, programs.packer)
        self._pair, self._plan = dma.chunks(_PIO0_RX2, regs.PIO0 + regs.PIO_RXF2, self._addresses)
        self._write = dma.write_address(self._pair[0])
        self.words = array("i", [0] * _WORDS)
        self.words[_AT] = self._addresses
        self._memory = None
        self.scan = self._own_scan = _scanner(self._write, self.words, self)

    def start(self, channel, rate_hz, count, pre):
        """Begin to capture; returns the rate in Hz, 0 = refused (channel, count, or no memory for it)."""
        if self.running or not (
            0 <= channel <= 2 and 0 < count <= COUNT_MAX and 0 <= pre < count and rate_hz > 0
        ):
            return 0
        cycles = max(CYCLES, min(CLOCK_HZ // rate_hz, CLOCK_HZ // 1000))
        eights = max(_EIGHTS_MIN, (count + _SLACK + 8 * _PIECES - 1) // (8 * _PIECES))
        if not self._reserve(12 * eights):
            return 0
        s = self.words
        s[_PIECE] = 8 * eights
        s[_CHANNEL] = channel
        s[_PER_TICK] = max(2, CLOCK_HZ // (1000 * cycles) & -2)
        s[_LAST] = s[_CAPTURED] = 0
        s[_TRIGGER] = _NO_TRIGGER if pre else 0  # nothing before: the start is the trigger
        s[_WANTED] = count - pre
        s[_PRE] = pre
        s[_COMPLETE] = 0
        self._plan[dma.PLAN_WRITE] = regs.peek(self._addresses)
        self._plan[dma.PLAN_COUNT] = 3 * eights
        dma.stop(regs.DMA, self._plan)
        self._packer.init(programs.packer)  # from its start, with nothing left of the last burst
        dma.start(regs.DMA, self._plan)
        self._packer.active(1)
        self._converter.one_channel(channel, cycles)
        s[RUNNING] = 1
        return CLOCK_HZ // cycles

    def _reserve(self, size):
        # What is large enough is kept: after one long burst the heap may not have such pieces a second time.
        # A word more than the size: where one piece ends, another never begins. Collected once only, as that
        # takes 30 ms, and the main loop may be away for 100.
        at = self._addresses
        if not self._memory or len(self._memory[0]) < size + 4:
            self._memory = None
            for i in range(_PIECES):  # an address is a reference to the collector, wherever it is written
                regs.poke(at + 4 * i, 0)
            self._plan[dma.PLAN_WRITE] = 0
            gc.collect()
            if gc.mem_free() < _PIECES * (size + 4 + 2 * _BLOCK) + _SPARE:
                return False
            gc.disable()
            try:
                self._memory = [bytearray(size + 4) for _ in range(_PIECES)]
            except MemoryError:
                return False
            finally:
                gc.enable()
        for i in range(_PIECES):
            regs.poke(at + 4 * i, addressof(self._memory[i]))
        return True

    def finish(self):
        """All readings are there (the tick's share): the converter runs freely again."""
        self._converter.free_run()  # and so the packer's DMA gets nothing more
        self.words[RUNNING] = 0
        self.words[_COMPLETE] = 1

    @micropython.native
    def trigger(self):
        """What comes after this tick's scan is behind the trigger; before it lie `pre` readings."""
        _mark(self.words)

    def ready(self):
        """1 when the burst is complete in memory."""
        return self.words[_COMPLETE]

    def copy(self, offset, buf):
        """Copy readings (12-bit codes left aligned, little endian) from `offset` on; returns how many
        bytes.
        """
        s = self.words
        first = (s[_TRIGGER] - s[_PRE] + offset) % (_PIECES * s[_PIECE])
        count = min(len(buf) // 2, s[_PRE] + s[_WANTED] - offset)
        if not s[_COMPLETE] or count <= 0:
            return 0
        _copy(s, buf, first, count)
        return 2 * count

    def lend(self, readings):
        """Let the endless stream have memory for `readings`; it sets its own `scan`, then `running`.

        Returns (pieces, where their addresses are), or None: a burst runs, or no memory.
        """
        if self.running or not self._reserve(2 * readings // _PIECES):
            return None
        self.words[_COMPLETE] = 0
        return _PIECES, self._addresses

    def give_back(self):
        """The stream has ended."""
        self.running = 0
        self.scan = self._own_scan

    def close(self):
        """Give the DMA channels back."""
        self._packer.active(0)
        dma.stop(regs.DMA, self._plan)
        for channel in self._pair:
            channel.close()


def _scanner(write, words, burst):
    needs = write, words, burst  # see compat.py on the cost of names

    @micropython.viper
    def scan(counts):
        """The tick's share. Allocates nothing."""
        write, words, burst = needs
        done = int(_advance(write, words))
        _fill(words, counts)
        if done:
            burst.finish()

    return scan

"""The endless stream on the chip: the tick takes one channel's readings out of the free-running ring.

The converter goes on with its four channels in turn, so every reading that the protection looks at stays
fresh; each channel is converted 125 000 times a second, and that is the highest rate. The ring holds 2.048 ms
of them. A tick later than that finds rounds missing: the chip's clock and the converter's are one, so the
time since the last tick tells how many, exactly. What is gathered lies in the bursts' memory.
"""

from array import array

import micropython
from micropython import const

from strokefw import channels
from strokefw.link import wire
from strokefw.pico import regs
from strokefw.pico import scan as kernels

# the state, words that the kernels index by number
_CHANNEL = const(0)
_EVERY = const(1)  # of so many groups one is kept
_LEFT = const(2)  # groups to leave out before the next
_HEAD = const(3)  # number of the next reading, modulo 2**30
_VALID = const(4)  # number of the oldest that can be had
_GROUP = const(5)  # where in the ring, and when, the last tick ended
_THEN = const(6)
_SHIFT = const(7)  # how a number falls into the pieces
_LOW = const(8)
_PARTS = const(9)
_FIRST = const(10)  # number that the copy begins with
_SAFE = const(11)  # readings that can be had
_WORDS = const(12)
_BEHIND = const(240)  # groups at most behind the converter, of the ring's 256


@micropython.viper
def _gather(work: ptr32, s: ptr32, pieces: ptr32, now: int):
    ring = work[kernels.CHIP_FIRST]
    first = ptr32(work[kernels.CHIP_AT])
    second = ptr32(work[kernels.CHIP_AT + 1])
    end = (((first[0] - ring) | (second[0] - ring)) & 0x7F8) >> 3
    groups = (end - s[_GROUP]) & 255
    passed = ((now - s[_THEN]) & 0x3FFFFFFF) >> 3
    s[_GROUP] = end
    s[_THEN] = now
    every = s[_EVERY]
    left = s[_LEFT]
    head = s[_HEAD]
    groups += ((passed - groups + 128) >> 8) << 8
    missed = groups - _BEHIND
    if missed > 0:
        groups = _BEHIND
        wanted = 0
        if missed > left:
            wanted = (missed - left + every - 1) // every
        left += wanted * every - missed
        head = (head + wanted) & 0x3FFFFFFF
        s[_VALID] = head
    readings = ptr16(ring)
    at = (((end - groups) & 255) << 2) + s[_CHANNEL]
    shift = s[_SHIFT]
    low = s[_LOW]
    parts = s[_PARTS]
    groups -= left
    at = (at + (left << 2)) & 1023
    step = every << 2
    while groups > 0:
        memory = ptr16(pieces[(head >> shift) & parts])
        memory[head & low] = readings[at]
        head = (head + 1) & 0x3FFFFFFF
        at = (at + step) & 1023
        groups -= every
    s[_LEFT] = 0 - groups
    s[_HEAD] = head
    if (head - s[_VALID]) & 0x3FFFFFFF > s[_SAFE]:
        s[_VALID] = (head - s[_SAFE]) & 0x3FFFFFFF


@micropython.viper
def pack(s: ptr32, pieces: ptr32, target: ptr8, count: int):
    # two 12-bit codes into three bytes, the first one's low byte first
    head = s[_FIRST]
    shift = s[_SHIFT]
    low = s[_LOW]
    parts = s[_PARTS]
    at = 0
    while count > 0:
        memory = ptr16(pieces[(head >> shift) & parts])
        a = int(memory[head & low])
        head = (head + 1) & 0x3FFFFFFF
        memory = ptr16(pieces[(head >> shift) & parts])
        b = int(memory[head & low])
        head = (head + 1) & 0x3FFFFFFF
        target[at] = a
        target[at + 1] = (a >> 8) | (b << 4)
        target[at + 2] = b >> 4
        at += 3
        count -= 2


@micropython.asm_thumb
def pack_run(r0, r1, r2):
    # the same for r2 pairs that lie together at r0, into r1
    label(NEXT)
    ldrh(r3, [r0, 0])
    ldrh(r4, [r0, 2])
    add(r0, 4)
    strb(r3, [r1, 0])
    lsr(r3, r3, 8)
    lsl(r5, r4, 4)
    orr(r3, r5)
    strb(r3, [r1, 1])
    lsr(r4, r4, 4)
    strb(r4, [r1, 2])
    add(r1, 3)
    sub(r2, 1)
    bne(NEXT)


class Raw:
    """The stream, in the memory of ``burst``, from the ring that ``work`` (see scan.py) tells of."""

    def __init__(self, burst, work, ticks_us):
        self._burst = burst
        self._work = work
        self._ticks_us = ticks_us
        self._pieces = 0  # where the addresses of the pieces are
        self._s = array("i", [0] * _WORDS)

    def start(self, channel, rate_hz):
        """Begin to gather; returns the rate in Hz, 0 while a burst runs or when there is no memory."""
        s = self._s
        lent = self._burst.lend(channels.RAW_READINGS)
        if not lent:
            return 0
        parts, self._pieces = lent
        self._burst.scan = _scanner(self._work, s, self._pieces, self._ticks_us)
        every = max(1, min(channels.RAW_HZ // rate_hz, channels.RAW_HZ))
        piece = channels.RAW_READINGS // parts
        s[_CHANNEL] = channel
        s[_EVERY] = every
        s[_SAFE] = channels.RAW_SAFE
        s[_LOW] = piece - 1
        s[_PARTS] = parts - 1
        s[_SHIFT] = 0
        while 1 << s[_SHIFT] < piece:
            s[_SHIFT] += 1
        _gather(self._work, s, self._pieces, self._ticks_us())  # for where it stands
        s[_LEFT] = s[_HEAD] = s[_VALID] = 0
        self._burst.running = 1
        return channels.RAW_HZ // every

    def stop(self):
        """Give the memory back."""
        self._burst.give_back()

    def gap(self):
        """The converter was started anew: no reading so far can be had any more."""
        self._s[_VALID] = self._s[_HEAD]

    def head(self):
        """Number of the next reading, modulo 2**30."""
        return self._s[_HEAD]

    def oldest(self):
        """Number of the oldest reading that can be had."""
        return self._s[_VALID]

    def copy(self, first, buf, count):
        """Pack `count` (even, at most RAW_COUNTS_MAX) readings from number `first` on; returns the bytes."""
        count = min(count, wire.RAW_COUNTS_MAX)
        s = self._s
        at = first & s[_LOW]
        if at + count <= s[_LOW]:
            piece = regs.peek(self._pieces + 4 * ((first >> s[_SHIFT]) & s[_PARTS]))
            pack_run(piece + 2 * at, buf, count >> 1)
        else:
            s[_FIRST] = first
            pack(s, self._pieces, buf, count)
        return 3 * count // 2


def _scanner(work, s, pieces, ticks_us):
    needs = work, s, pieces, ticks_us, kernels.chip, _gather  # as locals: see compat.py on the cost of names

    @micropython.native
    def scan(counts, needs=needs):
        """In place of the burst's: the usual scan, and the stream's share. Allocates nothing."""
        work, s, pieces, ticks_us, chip, gather = needs
        gather(work, s, pieces, ticks_us())
        chip(work, counts)

    return scan

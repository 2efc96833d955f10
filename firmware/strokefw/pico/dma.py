"""DMA transfers that never end, planned once and (re)started without allocating.

A plan is an array of words: both channels, both control words, then read address, write address and
count of each. The first channel hands over to the second when its count is done, and the second to the first.
"""

import gc
from array import array

import micropython
import rp2
from micropython import const
from uctypes import addressof

from strokefw.pico import regs

PLAN_CHANNEL = const(0)  # places in a plan, of the first channel; the second's follows, or
PLAN_CONTROL = const(2)
PLAN_READ = const(4)
PLAN_WRITE = const(5)
PLAN_COUNT = const(6)
PLAN_STEP = const(3)  # comes so much later: read, write and count lie together
_PLAN_WORDS = const(10)
BYTES, HALFWORDS, WORDS = const(0), const(1), const(2)
UNPACED = const(0x3F)
_TRIES = const(3)
_RING_COUNT = const(1 << 27)  # a whole number of rings of any size


def aligned(size):
    """Memory that starts at a multiple of its size (a power of 2), as rings need: (buffer to keep,
    address).
    """
    for _ in range(_TRIES):
        keep = bytearray(size)
        over = addressof(keep) & (size - 1)
        if not over:
            return keep, addressof(keep)
        del keep
        gc.collect()
        filler = bytearray(size - over)  # what comes next stands where it ends, if the heap is kind
    keep = filler = bytearray(2 * size)
    return keep, (addressof(filler) + size - 1) & -size


def ring(request, size, read, write, ring_bits=0, on_write=False, pair=None):
    """Plan an endless transfer paced by `request` between a register and a ring of 2**ring_bits bytes.

    The ring's side advances, the other stays (0 bits: both stay). Each channel moves a whole number of rings
    before the other goes on, so the idle channel's address is the ring's first byte, and both offsets or'ed
    are the position. Returns (the two rp2.DMA objects, which must be kept, and the plan); with a ``pair`` of
    another plan both take turns.
    """
    pair = pair or (rp2.DMA(), rp2.DMA())
    plan = array("I", [0] * _PLAN_WORDS)
    for i in (0, 1):
        control = pair[i].pack_ctrl(
            size=size,
            treq_sel=request,
            inc_read=bool(ring_bits) and not on_write,
            inc_write=bool(ring_bits) and on_write,
            ring_size=ring_bits,
            ring_sel=on_write,
            chain_to=pair[1 - i].channel,
            irq_quiet=True,
        )
        _set(plan, i, pair[i].channel, control, read, write, _RING_COUNT)
    return pair, plan


def chunks(request, read, addresses):
    """Plan words from a register through 32 pieces of memory in turn, over and over.

    The second channel hands the first one its next piece: it reads the ring of 32 words at `addresses`
    (128-byte aligned). The caller puts the first piece's address into the plan at PLAN_WRITE and the words
    per piece at PLAN_COUNT. Returns (the two rp2.DMA objects, the plan).
    """
    pair = (rp2.DMA(), rp2.DMA())
    plan = array("I", [0] * _PLAN_WORDS)
    filler = pair[0].pack_ctrl(
        size=WORDS,
        treq_sel=request,
        inc_read=False,
        inc_write=True,
        chain_to=pair[1].channel,
        irq_quiet=True,
    )
    feeder = pair[1].pack_ctrl(
        size=WORDS,
        treq_sel=UNPACED,
        inc_read=True,
        inc_write=False,
        ring_size=7,
        ring_sel=False,
        irq_quiet=True,
    )
    trigger = write_address(pair[0]) + 0x28  # write address, and start
    _set(plan, 0, pair[0].channel, filler, read, 0, 0)
    _set(plan, 1, pair[1].channel, feeder, addresses + 4, trigger, 1)
    return pair, plan


def write_address(channel):
    """Address of the register in which a channel's write address runs."""
    return 0x50000004 + 0x40 * channel.channel


def _set(plan, i, channel, control, read, write, count):
    plan[i] = channel
    plan[PLAN_CONTROL + i] = control
    plan[PLAN_READ + PLAN_STEP * i] = read
    plan[PLAN_WRITE + PLAN_STEP * i] = write
    plan[PLAN_COUNT + PLAN_STEP * i] = count


@micropython.viper
def stop(dma: ptr32, plan: ptr32):
    """Stop both channels of a plan. The chain is cut first, so that an abort starts nothing (RP2040
    erratum E13).
    """
    for i in range(2):
        dma[(plan[i] << 4) + regs.DMA_CONTROL] = plan[i] << 11
    dma[regs.DMA_ABORT] = (1 << plan[PLAN_CHANNEL]) | (1 << plan[PLAN_CHANNEL + 1])


@micropython.viper
def start(dma: ptr32, plan: ptr32):
    """Start a plan from its first address."""
    for i in range(2):
        base = plan[i] << 4
        dma[base] = plan[PLAN_READ + PLAN_STEP * i]
        dma[base + regs.DMA_WRITE] = plan[PLAN_WRITE + PLAN_STEP * i]
        dma[base + regs.DMA_COUNT] = plan[PLAN_COUNT + PLAN_STEP * i]
        dma[base + regs.DMA_CONTROL] = plan[PLAN_CONTROL + i]
    dma[regs.DMA_START] = 1 << plan[PLAN_CHANNEL]

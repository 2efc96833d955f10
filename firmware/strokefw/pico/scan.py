"""The kernels of a scan: one call sums what both converters' DMA has left in memory and fills the counts.

``work`` is an array of words; the assembler reaches them by four times their place.
"""

import micropython
from micropython import const

from strokefw import channels

# places in ``work``: sums of the chip's three channels, then the highest and the lowest coarse current
SUM_COARSE = const(0)
SUM_FINE = const(1)
SUM_BUS = const(2)
PEAK = const(3)
TROUGH = const(4)
PIECE_A = const(5)  # the two pieces of the chip's ring that a scan sums: start, then end
PIECE_B = const(7)
X_SENSOR_A = const(9)  # sums of the external converter's channels, in its order
X_SENSOR_B = const(10)
X_I_FINE = const(11)
X_LEG_A = const(12)
X_LEG_B = const(13)
X_NTC = const(14)
X_VIN = const(15)
X_FEED = const(16)
ROUNDS_AT = const(17)  # offset of the first byte of the newest five rounds
CHIP_AT = const(18)  # write-address registers of the chip ring's pair
CHIP_FIRST = const(20)  # address of the chip's ring
EXTERNAL_AT = const(21)  # and of the external one's
EXTERNAL_FIRST = const(23)
NTC_TICKS = const(24)
PIN_SET = const(25)  # registers that set and clear a pin, and the NTC switch's mask in them
PIN_CLEAR = const(26)
NTC_PIN = const(27)
NO_NULL = const(28)  # ticks in which the converter gave no null bit
HEATSINK = const(29)  # newest readings of both NTCs
PART = const(30)
WORDS = const(31)
# places in the words of ``sum_pairs``
TOTAL = const(8)
HIGH = const(9)
LOW = const(10)
CHIP_RING = const(2048)
CHIP_RING_BITS = const(11)
EXTERNAL_RING = const(256)
EXTERNAL_RING_BITS = const(8)


@micropython.asm_thumb
def _sum_chip(r0):
    # groups of 4 readings from both pieces: sums of the first three channels, peaks of the first
    mov(r2, r0)
    push({r2})
    ldr(r0, [r2, 4 * PIECE_A])
    ldr(r1, [r2, 4 * PIECE_A + 4])
    mov(r3, 0)
    mov(r4, 0)
    mov(r5, 0)
    mov(r6, 0)
    mov(r7, 255)
    lsl(r7, r7, 4)
    add(r7, 15)
    b(CHECK)
    label(NEXT)
    ldrh(r2, [r0, 0])
    add(r3, r3, r2)
    cmp(r2, r6)
    ble(NOT_HIGH)
    mov(r6, r2)
    label(NOT_HIGH)
    cmp(r2, r7)
    bge(NOT_LOW)
    mov(r7, r2)
    label(NOT_LOW)
    ldrh(r2, [r0, 2])
    add(r4, r4, r2)
    ldrh(r2, [r0, 4])
    add(r5, r5, r2)
    add(r0, 8)
    label(CHECK)
    cmp(r0, r1)
    bcc(NEXT)
    pop({r2})
    push({r2})
    ldr(r0, [r2, 4 * PIECE_B + 4])
    cmp(r1, r0)
    beq(DONE)
    mov(r1, r0)
    ldr(r0, [r2, 4 * PIECE_B])
    b(CHECK)
    label(DONE)
    pop({r2})
    str(r3, [r2, 4 * SUM_COARSE])
    str(r4, [r2, 4 * SUM_FINE])
    str(r5, [r2, 4 * SUM_BUS])
    str(r6, [r2, 4 * PEAK])
    str(r7, [r2, 4 * TROUGH])


@micropython.asm_thumb
def _sum_external(r0):
    # five rounds of eight channels; returns the or of all words, so that the null bit can be seen
    push({r0})
    ldr(r1, [r0, 4 * ROUNDS_AT])
    mov(r6, 4 * EXTERNAL_FIRST)
    add(r6, r6, r0)
    ldr(r6, [r6, 0])
    add(r0, 4 * X_SENSOR_A)
    mov(r4, 0)
    mov(r7, 8)
    label(CHANNEL)
    mov(r2, 0)
    mov(r5, 5)
    label(ROUND)
    add(r3, r6, r1)
    ldrh(r3, [r3, 0])
    orr(r4, r3)
    lsl(r3, r3, 20)
    lsr(r3, r3, 20)
    add(r2, r2, r3)
    add(r1, 16)
    lsl(r1, r1, 24)
    lsr(r1, r1, 24)
    sub(r5, 1)
    bne(ROUND)
    str(r2, [r0, 0])
    add(r0, 4)
    sub(r1, 78)
    lsl(r1, r1, 24)
    lsr(r1, r1, 24)
    sub(r7, 1)
    bne(CHANNEL)
    pop({r0})
    mov(r0, r4)


@micropython.asm_thumb
def sum_pairs(r0, r1, r2):
    """Sum r1 pairs of a burst's packed readings from address r0 on, into total, highest and lowest of its
    words r2; a pair's second reading first.
    """
    # a new extreme is the rare case: its branch is the one taken
    ldr(r3, [r2, 4 * TOTAL])
    ldr(r4, [r2, 4 * HIGH])
    ldr(r5, [r2, 4 * LOW])
    label(NEXT)
    ldrb(r7, [r0, 1])
    ldrb(r6, [r0, 2])
    lsl(r6, r6, 8)
    orr(r6, r7)
    lsr(r6, r6, 4)
    add(r3, r3, r6)
    cmp(r6, r4)
    bgt(HIGHEST)
    cmp(r6, r5)
    blt(LOWEST)
    label(FIRST)
    lsl(r7, r7, 28)
    lsr(r7, r7, 20)
    ldrb(r6, [r0, 0])
    orr(r6, r7)
    add(r3, r3, r6)
    cmp(r6, r4)
    bgt(FIRST_HIGHEST)
    cmp(r6, r5)
    blt(FIRST_LOWEST)
    label(ON)
    add(r0, 3)
    sub(r1, 1)
    bne(NEXT)
    b(DONE)
    label(HIGHEST)
    mov(r4, r6)
    cmp(r6, r5)
    bge(FIRST)
    label(LOWEST)
    mov(r5, r6)
    b(FIRST)
    label(FIRST_HIGHEST)
    mov(r4, r6)
    cmp(r6, r5)
    bge(ON)
    label(FIRST_LOWEST)
    mov(r5, r6)
    b(ON)
    label(DONE)
    str(r3, [r2, 4 * TOTAL])
    str(r4, [r2, 4 * HIGH])
    str(r5, [r2, 4 * LOW])


@micropython.viper
def chip(work: ptr32, counts: ptr16):
    """I_COARSE, BUS, I_MAX and I_MIN of the last 125 groups; SENSOR_A on a board with few signals."""
    ring = work[CHIP_FIRST]
    first = ptr32(work[CHIP_AT])
    second = ptr32(work[CHIP_AT + 1])
    end = ((first[0] - ring) | (second[0] - ring)) & 0x7F8
    start = end - 1000
    work[PIECE_B] = ring
    work[PIECE_B + 1] = ring + end
    if start < 0:
        work[PIECE_A] = ring + CHIP_RING + start
        work[PIECE_A + 1] = ring + CHIP_RING
    else:
        work[PIECE_A] = ring + start
        work[PIECE_A + 1] = ring + end
    _sum_chip(work)
    counts[channels.I_COARSE] = ((work[SUM_COARSE] << 4) + 62) // 125
    counts[channels.BUS] = ((work[SUM_BUS] << 4) + 62) // 125
    if work[EXTERNAL_FIRST] == 0:  # no external converter: the sensor is where the fine current is else
        counts[channels.SENSOR_A] = ((work[SUM_FINE] << 4) + 62) // 125
    counts[channels.I_MAX] = work[PEAK] << 4
    counts[channels.I_MIN] = work[TROUGH] << 4


@micropython.viper
def external(work: ptr32, counts: ptr16):
    """The eight external channels' means of the five newest rounds; the NTC switch goes to and fro."""
    ring = work[EXTERNAL_FIRST]
    first = ptr32(work[EXTERNAL_AT])
    second = ptr32(work[EXTERNAL_AT + 1])
    end = ((first[0] - ring) | (second[0] - ring)) & 0xF0
    work[ROUNDS_AT] = (end - 80) & (EXTERNAL_RING - 1)
    if int(_sum_external(work)) & 0x1000:
        work[NO_NULL] += 1
    # sums of five times 16 / 5; 52429 / 16384 is 3.2 within 4 millionths
    counts[channels.SENSOR_A] = (work[X_SENSOR_A] * 52429 + 8192) >> 14
    counts[channels.SENSOR_B] = (work[X_SENSOR_B] * 52429 + 8192) >> 14
    counts[channels.I_FINE] = (work[X_I_FINE] * 52429 + 8192) >> 14
    counts[channels.LEG_A] = (work[X_LEG_A] * 52429 + 8192) >> 14
    counts[channels.LEG_B] = (work[X_LEG_B] * 52429 + 8192) >> 14
    counts[channels.VIN] = (work[X_VIN] * 52429 + 8192) >> 14
    counts[channels.FEED] = (work[X_FEED] * 52429 + 8192) >> 14
    # 64 ticks: half of them on each NTC, of which the first six are for settling
    ticks = (work[NTC_TICKS] + 1) & 63
    work[NTC_TICKS] = ticks
    phase = ticks & 31
    if phase == 0:
        pin = ptr32(work[PIN_SET if ticks else PIN_CLEAR])
        pin[0] = work[NTC_PIN]
    elif phase > 6:
        work[PART if ticks & 32 else HEATSINK] = (work[X_NTC] * 52429 + 8192) >> 14
    counts[channels.NTC_HEATSINK] = work[HEATSINK]
    counts[channels.NTC_PART] = work[PART]

"""The kernels of a scan: one call sums what both converters' DMA has left in memory and fills the counts.

WORK is an array of words; its numbers are used in the kernels as they are, because viper has no named
constants from elsewhere:
 0..4   sums of chip channels 0..2, highest, lowest        5..8   two pieces of the ring to sum: start, end
 9..16  sums of the external channels 0..7                 17     first byte of the newest five rounds
 (offset) 18, 19 write-address registers of the chip ring's pair    20     chip ring
 21, 22 write-address registers of the external ring's pair 23    external ring
 24     NTC tick counter                                   25, 26 registers that set / clear a pin
 27     the NTC switch's pin mask                          28     ticks in which the converter gave no null
 bit 29, 30 the newest readings of both NTCs
"""

import micropython
from micropython import const

WORDS = const(31)
CHIP_RING = const(2048)
CHIP_RING_BITS = const(11)
EXTERNAL_RING = const(256)
EXTERNAL_RING_BITS = const(8)


@micropython.asm_thumb
def _sum_chip(r0):
    # groups of 4 readings from both pieces: sums of the first three channels, peaks of the first
    mov(r2, r0)
    push({r2})
    ldr(r0, [r2, 20])
    ldr(r1, [r2, 24])
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
    ldr(r0, [r2, 32])
    cmp(r1, r0)
    beq(DONE)
    mov(r1, r0)
    ldr(r0, [r2, 28])
    b(CHECK)
    label(DONE)
    pop({r2})
    str(r3, [r2, 0])
    str(r4, [r2, 4])
    str(r5, [r2, 8])
    str(r6, [r2, 12])
    str(r7, [r2, 16])


@micropython.asm_thumb
def _sum_external(r0):
    # five rounds of eight channels; returns the or of all words, so that the null bit can be seen
    push({r0})
    ldr(r1, [r0, 68])
    mov(r6, 92)
    add(r6, r6, r0)
    ldr(r6, [r6, 0])
    add(r0, 36)
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
    ldr(r3, [r2, 92])
    ldr(r4, [r2, 96])
    ldr(r5, [r2, 100])
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
    str(r3, [r2, 92])
    str(r4, [r2, 96])
    str(r5, [r2, 100])


@micropython.viper
def chip(work: ptr32, counts: ptr16):
    """I_COARSE, BUS, I_MAX and I_MIN of the last 125 groups."""
    ring = work[20]
    first = ptr32(work[18])
    second = ptr32(work[19])
    end = ((first[0] - ring) | (second[0] - ring)) & 0x7F8
    start = end - 1000
    work[7] = ring
    work[8] = ring + end
    if start < 0:
        work[5] = ring + 2048 + start
        work[6] = ring + 2048
    else:
        work[5] = ring + start
        work[6] = ring + end
    _sum_chip(work)
    counts[0] = ((work[0] << 4) + 62) // 125
    counts[2] = ((work[2] << 4) + 62) // 125
    counts[11] = work[3] << 4
    counts[12] = work[4] << 4


@micropython.viper
def external(work: ptr32, counts: ptr16):
    """The eight external channels' means of the five newest rounds; the NTC switch goes to and fro."""
    ring = work[23]
    first = ptr32(work[21])
    second = ptr32(work[22])
    end = ((first[0] - ring) | (second[0] - ring)) & 0xF0
    work[17] = (end - 80) & 0xFF
    if int(_sum_external(work)) & 0x1000:
        work[28] += 1
    # sums of five times 16 / 5; 52429 / 16384 is 3.2 within 4 millionths
    counts[6] = (work[9] * 52429 + 8192) >> 14
    counts[7] = (work[10] * 52429 + 8192) >> 14
    counts[1] = (work[11] * 52429 + 8192) >> 14
    counts[4] = (work[12] * 52429 + 8192) >> 14
    counts[5] = (work[13] * 52429 + 8192) >> 14
    counts[3] = (work[15] * 52429 + 8192) >> 14
    counts[8] = (work[16] * 52429 + 8192) >> 14
    # 64 ticks: half of them on each NTC, of which the first six are for settling
    ticks = (work[24] + 1) & 63
    work[24] = ticks
    phase = ticks & 31
    if phase == 0:
        pin = ptr32(work[25 if ticks else 26])
        pin[0] = work[27]
    elif phase > 6:
        work[30 if ticks & 32 else 29] = (work[14] * 52429 + 8192) >> 14
    counts[9] = work[29]
    counts[10] = work[30]

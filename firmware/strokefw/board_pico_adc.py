"""The chip's own converter: free running into memory by DMA, summed once a tick, and bursts.

Normal: channels 0..3 in turn at 500 kS/s together (2 us each), so 125 readings of each channel per 1 ms tick. They
fall on 25 different phases of the 20 kHz period, five times each: a mean over whole PWM periods. (Channel 3 is the
Pico's own supply; it is there because four channels fit the ring and three do not.) The converter's clock and the
CPU's come from one crystal, so this does not drift.
Burst: one channel alone, at up to 500 kS/s, round and round through a large buffer until enough follows the trigger.
"""

from array import array

import micropython
from machine import ADC, Pin
from micropython import const

from strokefw import board_pico_dma as dma
from strokefw import board_pico_regs as regs
from strokefw import board_pico_scan as kernels
from strokefw import pins

_CLOCK_HZ = const(48000000)
_CYCLES = const(96)  # of one conversion
_SLACK = const(1100)  # readings: the tick sees the end of a burst up to 1 ms (500 readings) late
BURST_MAX = const(50000)
# the burst's state, an array of words (the kernels index it by number)
_CHANNEL = const(0)
_PER_TICK = const(1)
_LAST = const(2)  # position in the buffer
_CAPTURED = const(3)
_TRIGGER = const(4)  # what was captured when the trigger came
_WANTED = const(5)  # readings behind the trigger
_SIZE = const(6)  # of the buffer, in readings
NO_TRIGGER = const(0x3FFFFFFF)


@micropython.viper
def _switch(adc: ptr32, control: int, divider: int):
    # converter off, wait for the conversion under way, empty the FIFO
    adc[0] = 1
    while (adc[0] & 0x100) == 0:
        pass
    while adc[2] & 0xF0000:
        adc[3]
    adc[2] = (1 << 24) | 0xC00 | 9  # request at one reading, clear over- and underrun, FIFO and DMA on
    adc[4] = divider
    adc[0] = control


@micropython.viper
def _advance(channels: ptr32, plan: ptr32, burst: ptr32) -> int:
    # how far the burst has come: 1 when all that is wanted follows the trigger
    position = (channels[(plan[0] << 4) + 1] - plan[5]) >> 1
    size = burst[6]
    if position >= size:
        position = 0
    fresh = position - burst[2]
    if fresh < 0:
        fresh += size
    burst[2] = position
    burst[3] += fresh
    if burst[4] == 0x3FFFFFFF:
        return 0
    return int(burst[3] - burst[4] >= burst[5])


@micropython.viper
def _fill_burst(buffer: ptr16, burst: ptr32, counts: ptr16):
    # the newest readings of the burst's channel; a current stands in for both ranges, the bus for itself
    n = burst[1]
    i = burst[2] - n
    if i < 0:
        i += burst[6]
    total = 0
    high = 0
    low = 4095
    k = n
    while k:
        value = int(buffer[i])
        total += value
        if value > high:
            high = value
        if value < low:
            low = value
        i += 1
        if i == burst[6]:
            i = 0
        k -= 1
    mean = (total << 4) // n
    if burst[0] == 2:
        counts[2] = mean
        return
    high = high << 4
    low = low << 4
    if burst[0] == 1:  # a tenth of the fine channel's deflection is the coarse one's
        mean = 32760 + (mean - 32760) // 10
        high = 32760 + (high - 32760) // 10
        low = 32760 + (low - 32760) // 10
    counts[0] = mean
    counts[11] = high
    counts[12] = low


class ChipConverter:
    """I_COARSE, BUS and the peaks of the coarse current of a scan; bursts of I_COARSE, I_FINE or BUS.

    While a burst of I_FINE or BUS runs, the coarse current is derived from the fine one (bus: it keeps its last
    value, and the external converter's fine current is the one that counts); the comparator works on regardless.
    """

    def __init__(self, work):
        for net in ("I_COARSE", "I_FINE", "BUS_SENSE"):
            ADC(Pin(pins.gpio(net)))
        self._buffer = bytearray(2 * (BURST_MAX + _SLACK))
        self._keep, ring = dma.aligned(kernels.CHIP_RING)
        self._pair, self._plan = dma.ring(
            regs.DREQ_ADC, dma.HALFWORDS, regs.ADC + 12, ring, kernels.CHIP_RING_BITS, True
        )
        work[18] = dma.write_address(self._pair[0])
        work[19] = dma.write_address(self._pair[1])
        work[20] = ring
        self._burst_pair, self._burst_plan = dma.loop(regs.DREQ_ADC, regs.ADC + 12, self._buffer)
        self._burst = array("i", [0] * 7)
        self._dma = regs.DMA
        self._adc = regs.ADC
        self.bursting = False
        self._captured = False
        self._pre = 0
        self._free_run()

    def _free_run(self):
        dma.stop(self._dma, self._burst_plan)
        dma.stop(self._dma, self._plan)
        _switch(self._adc, 1, 0)
        dma.start(self._dma, self._plan)
        _switch(self._adc, 0xF0009, 0)
        self.bursting = False

    def scan_burst(self, counts):
        """The tick's share of a burst: readings from it, and back to free running when it is complete."""
        burst = self._burst
        done = _advance(self._dma, self._burst_plan, burst)
        _fill_burst(self._buffer, burst, counts)
        if done:
            self._free_run()
            self._captured = True

    def overrun(self):
        """Whether a reading was lost since the start, which would shift the channels; starts anew then."""
        if self.bursting or not regs.peek(regs.ADC + 8) & 0x800:
            return False
        self._free_run()
        return True

    def burst_start(self, channel, rate_hz, count, pre):
        """Begin to capture; returns the rate in Hz, 0 = refused (channel, count). See the Board interface."""
        if not (0 <= channel <= 2 and 0 < count <= BURST_MAX and 0 <= pre < count and rate_hz > 0):
            return 0
        cycles = max(_CYCLES, min(_CLOCK_HZ // rate_hz, 48000))
        burst = self._burst
        burst[_CHANNEL] = channel
        burst[_PER_TICK] = max(1, _CLOCK_HZ // (1000 * cycles))
        burst[_LAST] = burst[_CAPTURED] = 0
        burst[_TRIGGER] = NO_TRIGGER
        burst[_WANTED] = count - pre
        burst[_SIZE] = len(self._buffer) // 2
        self._pre = pre
        self._captured = False
        dma.stop(self._dma, self._plan)
        _switch(self._adc, 1, 0)
        dma.start(self._dma, self._burst_plan)
        _switch(self._adc, channel << 12 | 9, 0 if cycles == _CYCLES else (cycles - 1) << 8)
        self.bursting = True
        return _CLOCK_HZ // cycles

    def burst_trigger(self):
        """What comes from now on is behind the trigger; before it lie `pre` readings."""
        if self.bursting and self._burst[_TRIGGER] == NO_TRIGGER:
            _advance(self._dma, self._burst_plan, self._burst)
            self._burst[_TRIGGER] = max(self._burst[_CAPTURED], self._pre)

    def burst_ready(self):
        """1 when the burst is complete in memory."""
        return int(self._captured)

    def burst_copy(self, offset, buf):
        """Copy readings (12-bit codes left aligned to 16 bits, little endian) from `offset` on; returns how many."""
        first = (self._burst[_TRIGGER] - self._pre + offset) % self._burst[_SIZE]
        count = min(len(buf) // 2, self._pre + self._burst[_WANTED] - offset)
        if count > 0:
            _copy(self._buffer, buf, first, count, self._burst[_SIZE])
        return max(count, 0)

    def close(self):
        """Stop and give the DMA channels back."""
        self._free_run()
        regs.poke(self._adc, 0)
        for channel in self._pair + self._burst_pair:
            channel.close()


@micropython.viper
def _copy(source: ptr16, target: ptr16, start: int, count: int, size: int):
    i = start
    for k in range(count):
        target[k] = int(source[i]) << 4
        i += 1
        if i == size:
            i = 0

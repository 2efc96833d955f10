"""The chip's own converter: free running into memory by DMA.

Channels 0..3 in turn at 500 kS/s together (2 us each), so 125 readings of each channel per 1 ms tick. They
fall on 25 different phases of the 20 kHz period, five times each: a mean over whole PWM periods. (Channel 3
is the Pico's own supply; it is there because four channels fit the ring and three do not.) The converter's
clock and the CPU's come from one crystal, so this does not drift. board_pico_scan sums; board_pico_burst
takes the converter over for bursts.
"""

import micropython
from machine import ADC, Pin
from micropython import const

from strokefw import board_pico_dma as dma
from strokefw import board_pico_regs as regs
from strokefw import board_pico_scan as kernels
from strokefw import pins

CLOCK_HZ = const(48000000)
CYCLES = const(96)  # of one conversion
_FREE_RUN = const(0x000F0009)  # round robin 0..3, start many, enabled


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


class ChipConverter:
    """Keeps the chip's readings fresh in memory; switches between free running and one channel for a
    burst.
    """

    def __init__(self, work):
        for net in ("I_COARSE", "I_FINE", "BUS_SENSE"):
            ADC(Pin(pins.gpio(net)))
        self._keep, ring = dma.aligned(kernels.CHIP_RING)
        self._pair, self._plan = dma.ring(
            regs.DREQ_ADC, dma.HALFWORDS, regs.ADC + 12, ring, kernels.CHIP_RING_BITS, True
        )
        self._to_packer = dma.ring(
            regs.DREQ_ADC, dma.WORDS, regs.ADC + 12, regs.PIO0 + regs.PIO_TXF2, pair=self._pair
        )[1]
        work[18] = dma.write_address(self._pair[0])
        work[19] = dma.write_address(self._pair[1])
        work[20] = ring
        self._dma = regs.DMA
        self._adc = regs.ADC
        self._status = regs.ADC + 8
        self._running = self._plan
        self.free_run()

    def free_run(self):
        """Channels 0..3 in turn at full speed into the ring. Allocates nothing."""
        dma.stop(self._dma, self._running)
        _switch(self._adc, 1, 0)
        self._running = self._plan
        dma.start(self._dma, self._plan)
        _switch(self._adc, _FREE_RUN, 0)

    def one_channel(self, channel, cycles):
        """One channel, a reading every `cycles` converter clocks (96 or more), to the PIO's packer."""
        dma.stop(self._dma, self._running)
        _switch(self._adc, 1, 0)
        self._running = self._to_packer
        dma.start(self._dma, self._running)
        _switch(self._adc, channel << 12 | 9, 0 if cycles <= CYCLES else (cycles - 1) << 8)

    def mend(self):
        """Start anew if a reading was ever lost, which would shift the channels. Returns whether it was."""
        if self._running is not self._plan or not regs.peek(self._status) & 0x800:
            return False
        self.free_run()
        return True

    def close(self):
        """Stop and give the DMA channels back."""
        self.free_run()
        regs.poke(self._adc, 0)
        dma.stop(self._dma, self._plan)
        for channel in self._pair:
            channel.close()

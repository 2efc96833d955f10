"""The chip's own converter: free running into memory by DMA.

Channels 0..3 in turn at 500 kS/s together (2 us each), so 125 readings of each channel per 1 ms tick. They
fall on 25 different phases of the 20 kHz period, five times each: a mean over whole PWM periods. (Channel 3
is the Pico's own supply; it is there because four channels fit the ring and three do not.) The converter's
clock and the CPU's come from one crystal, so this does not drift. board_pico_scan sums; board_pico_burst
takes the converter over for bursts.
"""

from array import array

import micropython
from machine import ADC, Pin
from micropython import const

from strokefw.compat import keep_bound
from strokefw.pico import dma, pins, regs
from strokefw.pico import scan as kernels

CLOCK_HZ = const(48000000)
CYCLES = const(96)  # of one conversion
_FREE_RUN = const(0x000F0009)  # round robin 0..3, start many, enabled


# _switch's words: addresses of DMA and converter, the control word in force
@micropython.viper
def _switch(w: ptr32, plan: ptr32, control: int, divider: int):
    # DMA off (the chain is cut first, see board_pico_dma.stop), converter off; wait for the conversion under
    # way, empty the FIFO; then the plan from its start. All in one, for a burst's end is part of a tick.
    dma = ptr32(w[0])
    adc = ptr32(w[1])
    w[2] = control
    for i in range(2):
        dma[(plan[i] << 4) + 4] = plan[i] << 11
    dma[0x111] = (1 << plan[0]) | (1 << plan[1])
    adc[0] = 1
    while (adc[0] & 0x100) == 0:
        pass
    while adc[2] & 0xF0000:
        adc[3]
    adc[2] = (1 << 24) | 0xC00 | 9  # request at one reading, clear over- and underrun, FIFO and DMA on
    adc[4] = divider
    for i in range(2):
        base = plan[i] << 4
        dma[base] = plan[4 + 3 * i]
        dma[base + 1] = plan[5 + 3 * i]
        dma[base + 2] = plan[6 + 3 * i]
        dma[base + 4] = plan[2 + i]
    dma[0x10C] = 1 << plan[0]
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
        self._words = array("I", [regs.DMA, regs.ADC, 0])
        self._status = regs.ADC + 8
        keep_bound(self, "free_run")
        self.free_run()

    @micropython.native
    def free_run(self):
        """Channels 0..3 in turn at full speed into the ring. Allocates nothing."""
        _switch(self._words, self._plan, _FREE_RUN, 0)

    def one_channel(self, channel, cycles):
        """One channel, a reading every `cycles` converter clocks (96 or more), to the PIO's packer."""
        divider = 0 if cycles <= CYCLES else (cycles - 1) << 8
        _switch(self._words, self._to_packer, channel << 12 | 9, divider)

    def mend(self):
        """Start anew if a reading was ever lost, which would shift the channels. Returns whether it was."""
        if self._words[2] != _FREE_RUN or not regs.peek(self._status) & 0x800:
            return False
        self.free_run()
        return True

    def close(self):
        """Stop and give the DMA channels back."""
        self.free_run()
        regs.poke(regs.ADC, 0)
        dma.stop(regs.DMA, self._plan)
        for channel in self._pair:
            channel.close()

"""Both converters: the chip's own, and the external one with eight channels (MCP3208 class).

The chip's runs freely into memory by DMA: channels 0..3 in turn at 500 kS/s together (2 us each), so 125
readings of each channel per 1 ms tick. They fall on 25 different phases of the 20 kHz period, five times
each: a mean over whole PWM periods. (Channel 3 is the Pico's own supply; it is there because four channels
fit the ring and three do not.) The converter's clock and the CPU's come from one crystal, so this does not
drift. scan.py sums; burst.py takes the converter over for bursts.
"""

import time
from array import array

import micropython
import rp2
from machine import ADC, Pin
from micropython import const

from strokefw.channels import N_CHANNELS
from strokefw.compat import keep_bound
from strokefw.pico import dma, pins, regs
from strokefw.pico import pio as programs
from strokefw.pico import scan as kernels

CLOCK_HZ = const(48000000)
CYCLES = const(96)  # of one conversion
_FREE_RUN = const(0x000F0009)  # round robin 0..3, start many, enabled
_PIO0_TX1 = const(1)  # DMA requests of state machine 1
_PIO0_RX1 = const(5)


# _switch's words: addresses of DMA and converter, the control word in force
_DMA = const(0)
_ADC = const(1)
_CONTROL = const(2)


@micropython.viper
def _switch(w: ptr32, plan: ptr32, control: int, divider: int):
    # DMA off (the chain is cut first, see dma.stop), converter off; wait for the conversion under
    # way, empty the FIFO; then the plan from its start. All in one, for a burst's end is part of a tick.
    mover = ptr32(w[_DMA])
    adc = ptr32(w[_ADC])
    w[_CONTROL] = control
    for i in range(2):
        mover[(plan[i] << 4) + regs.DMA_CONTROL] = plan[i] << 11
    mover[regs.DMA_ABORT] = (1 << plan[dma.PLAN_CHANNEL]) | (1 << plan[dma.PLAN_CHANNEL + 1])
    adc[regs.ADC_CONTROL] = 1
    while (adc[regs.ADC_CONTROL] & 0x100) == 0:
        pass
    while adc[regs.ADC_FIFO_CONTROL] & 0xF0000:
        adc[regs.ADC_FIFO]
    # request at one reading, clear over- and underrun, FIFO and DMA on
    adc[regs.ADC_FIFO_CONTROL] = (1 << 24) | 0xC00 | 9
    adc[regs.ADC_DIVIDER] = divider
    for i in range(2):
        base = plan[i] << 4
        mover[base] = plan[dma.PLAN_READ + dma.PLAN_STEP * i]
        mover[base + regs.DMA_WRITE] = plan[dma.PLAN_WRITE + dma.PLAN_STEP * i]
        mover[base + regs.DMA_COUNT] = plan[dma.PLAN_COUNT + dma.PLAN_STEP * i]
        mover[base + regs.DMA_CONTROL] = plan[dma.PLAN_CONTROL + i]
    mover[regs.DMA_START] = 1 << plan[dma.PLAN_CHANNEL]
    adc[regs.ADC_CONTROL] = control


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
        work[kernels.CHIP_AT] = dma.write_address(self._pair[0])
        work[kernels.CHIP_AT + 1] = dma.write_address(self._pair[1])
        work[kernels.CHIP_FIRST] = ring
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
        if self._words[_CONTROL] != _FREE_RUN or not regs.peek(self._status) & 0x800:
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


class ExternalConverter:
    """Keeps SENSOR_A, SENSOR_B, I_FINE, LEG_A, LEG_B, both NTCs, VIN and FEED fresh in memory.

    PIO and DMA read on their own. A conversion takes 25 us, a round of eight channels 200 us: five rounds per
    tick. The ring holds sixteen rounds. The NTC input changes over every 32 ticks; the six ticks after that
    are left out (4.7 kOhm and the input's capacitor, and rounds converted before).
    """

    def __init__(self, work):
        self._select = Pin(pins.gpio("NTC_SELECT"), Pin.OUT, value=0)
        chip_select = Pin(pins.gpio("CONV_CS_N"), Pin.OUT, value=1)
        Pin(pins.gpio("CONV_CLK"), Pin.OUT, value=0)
        data_in = Pin(pins.gpio("CONV_DIN"), Pin.OUT, value=0)
        data_out = Pin(pins.gpio("CONV_DOUT"), Pin.IN, Pin.PULL_UP)  # nothing connected: the null bit reads 1
        self._machine = rp2.StateMachine(
            1, programs.converter, freq=2000000, sideset_base=chip_select, out_base=data_in, in_base=data_out
        )
        self._keep_commands, commands = dma.aligned(32)
        words = array("I", [(0b11000 | channel) << 27 for channel in range(8)])
        for i in range(8):
            regs.poke(commands + 4 * i, words[i])
        self._keep_ring, ring = dma.aligned(kernels.EXTERNAL_RING)
        self._ask, ask_plan = dma.ring(_PIO0_TX1, dma.WORDS, commands, regs.PIO0 + 0x14, 5, False)
        self._answer, self._plan = dma.ring(
            _PIO0_RX1, dma.HALFWORDS, regs.PIO0 + 0x24, ring, kernels.EXTERNAL_RING_BITS, True
        )
        self._ask_plan = ask_plan
        work[kernels.EXTERNAL_AT] = dma.write_address(self._answer[0])
        work[kernels.EXTERNAL_AT + 1] = dma.write_address(self._answer[1])
        work[kernels.EXTERNAL_FIRST] = ring
        work[kernels.PIN_SET] = regs.PIN_SET
        work[kernels.PIN_CLEAR] = regs.PIN_CLEAR
        work[kernels.NTC_PIN] = 1 << pins.gpio("NTC_SELECT")
        dma.start(regs.DMA, self._plan)
        dma.start(regs.DMA, ask_plan)
        self._machine.active(1)
        self._first_readings(work)

    @staticmethod
    def _first_readings(work):
        # both NTCs, before anybody judges them
        counts = array("H", [0] * N_CHANNELS)
        for ticks in (31, 63):
            work[kernels.NTC_TICKS] = ticks - 1
            for _ in range(4):
                time.sleep_us(900)  # busy: the emulated PIO is slow while the CPU sleeps
            kernels.external(work, counts)
            kernels.external(work, counts)
        work[kernels.NO_NULL] = 0

    def close(self):
        """Stop the state machine and give the DMA channels back."""
        self._machine.active(0)
        dma.stop(regs.DMA, self._ask_plan)
        dma.stop(regs.DMA, self._plan)
        for channel in self._ask + self._answer:
            channel.close()

"""The external 8-channel converter (MCP3208 class): read by PIO and DMA on its own, averaged once a tick.

A conversion takes 25 us, a round of eight channels 200 us: five rounds per tick. The ring holds sixteen
rounds. The NTC input changes over every 32 ticks; the six ticks after that are left out (4.7 kOhm and the
input's capacitor, and rounds converted before).
"""

import time
from array import array

import rp2
from machine import Pin
from micropython import const

from strokefw.channels import N_CHANNELS
from strokefw.pico import dma, pins, regs
from strokefw.pico import pio as programs
from strokefw.pico import scan as kernels

_PIO0_TX1 = const(1)  # DMA requests of state machine 1
_PIO0_RX1 = const(5)


class ExternalConverter:
    """Keeps SENSOR_A, SENSOR_B, I_FINE, LEG_A, LEG_B, both NTCs, VIN and FEED fresh in memory."""

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

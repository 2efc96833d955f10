"""What sits around the emulated chip: its converter's inputs, the external converter, and mended emulator
details.

Details of rp2040py 0.3 that differ from the chip and would change what the firmware sees are put right here,
each with the datasheet's word for it (RP2040 datasheet). USB and flash have files of their own.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from rp2040py.rp2040 import RP2040

AIN_SHIFT = 12
PIO0 = 0x50200  # key of the emulator's table: address without its last three digits
PIO0_RX0 = 4  # DMA requests, table 120
SHIFT_CONTROL, STATE_MACHINE_BYTES = 0xD0, 0x18
JOINS = 3 << 30
CYCLE_NS = 8.0
SYNCHRONIZERS, EXECUTIONS = 2, 2
"""Cycles from an input's edge to what a PIO program does about it: in the flip-flops (chapter 3.5.6.3), and
of two instructions, the one that waits and the one that acts (3.4), each of which has acted when its cycle
ends. The emulated PIO does both as the pin changes."""


def mend_converter(mcu: RP2040) -> None:
    """Chapter 4.9.2: with RROBIN set, AINSEL goes on to the next enabled input. The emulator stays on 0.

    Also takes a short way from a reading to the memory that DMA puts it in: with half a million readings a
    second the emulator's own way (FIFO, request, alarm, transfer) is a third of all the work.
    """
    base = type(mcu.adc)
    dreq_adc, sample_cycles = 36, 96

    class Converter(base):  # type: ignore[misc, valid-type]
        cs: int

        @property
        def _active_channel(self) -> int:
            return int((self.cs >> AIN_SHIFT) & 7)

        @_active_channel.setter
        def _active_channel(self, channel: int) -> None:
            self.cs = (self.cs & ~(7 << AIN_SHIFT)) | (channel % 5) << AIN_SHIFT

        def complete_adc_read(self, value: int, error: bool) -> None:
            taker = self._taker()
            slow = self.clock_div > (sample_cycles - 1) << 8
            if error or slow or taker is None or self.fifo.item_count or not self.cs & 8:
                super().complete_adc_read(value, error)
                return
            address = taker._write_addr
            mcu.write_uint16(address, value & 0xFFF)
            mask = taker._ring_mask
            taker._write_addr = (address & ~mask) | ((address + 2) & mask) if mask else address + 2
            taker._trans_count -= 1
            self.result = value
            enabled = (self.cs >> 16) & 0x1F
            channel = (self.cs >> AIN_SHIFT) & 7
            if enabled:
                channel = (channel + 1) % 5
                while not enabled >> channel & 1:
                    channel = (channel + 1) % 5
                self.cs = (self.cs & ~(7 << AIN_SHIFT)) | channel << AIN_SHIFT
            self.on_adc_read(channel)

        def _taker(self) -> Any:
            # the DMA channel under way for this converter, if it moves halfwords and has more than one to go
            for channel in mcu.dma.channels:
                if channel._treq_value == dreq_adc and channel.active:
                    return channel if channel._data_size == 2 and channel._trans_count > 1 else None
            return None

    mcu.adc.__class__ = Converter


def mend_pwm_requests(mcu: RP2040) -> None:
    """Chapter 2.5.3.1: a PWM wrap requests one transfer. The emulator leaves the request standing for
    ever.
    """
    pwm: Any = mcu.pwm
    interrupt = pwm.channel_interrupt
    first = 24  # DREQ_PWM_WRAP0, table 120

    def once(index: int) -> None:
        interrupt(index)
        mcu.dma.clear_dreq(first + index)

    pwm.channel_interrupt = once


class _Pio:
    """PIO 0 before the emulator's, for what the processor writes."""

    def __init__(self, mcu: RP2040) -> None:
        self._mcu = mcu
        self._pio: Any = mcu.pio[0]

    def __getattr__(self, name: str) -> Any:
        return getattr(self._pio, name)

    def write_uint32_atomic(self, offset: int, value: int, atomic_type: int) -> None:
        number, register = divmod((offset & 0xFFF) - SHIFT_CONTROL, STATE_MACHINE_BYTES)
        if register or not 0 <= number < 4:
            self._pio.write_uint32_atomic(offset, value, atomic_type)
            return
        before = self._pio.read_uint32(offset)
        self._pio.write_uint32_atomic(offset, value, atomic_type)
        if (before ^ self._pio.read_uint32(offset)) & JOINS:
            machine = self._pio.machines[number]
            machine.tx_fifo.reset()
            machine.rx_fifo.reset()
            self._mcu.dma.set_dreq(number)
            self._mcu.dma.clear_dreq(PIO0_RX0 + number)


def mend_fifos(mcu: RP2040) -> None:
    """Chapter 3.7, SM0_SHIFTCTRL: FIFOs are flushed when FJOIN_RX or FJOIN_TX changes, which is how the SDK
    begins anew. In the emulator the words of an earlier program stay in them.
    """
    mcu.peripherals[PIO0] = _Pio(mcu)


def mend_inputs(mcu: RP2040) -> None:
    """The PIO sees an input as late as it does: two flip-flops, unless INPUT_SYNC_BYPASS is set.

    The whole pin is late here, so what else reads it is late, too. A pin whose ``direct`` is set is not: for
    inputs that change so often that it would cost time, and long before anybody looks.
    """
    from rp2040py.gpio_pin import GPIOPin

    class Input(GPIOPin):  # type: ignore[misc]
        direct = False

        def set_input_value(self, value: bool) -> None:
            if self.direct or not self._driven:  # nothing is late that was always there
                super().set_input_value(value)
                return
            bypassed = mcu.pio[0].input_sync_bypass >> self.index & 1
            cycles = EXECUTIONS + (0 if bypassed else SYNCHRONIZERS)
            mcu.clock.create_alarm(partial(super().set_input_value, value)).schedule(cycles * CYCLE_NS)

    for i, pin in enumerate(mcu.gpio):
        mcu.gpio[i] = Input(mcu, pin.index, pin.name)


class ChipInputs:
    """Answers the chip's converter: `code(channel)` gives the 12-bit code of input 0..4 at the present
    time.
    """

    def __init__(self, mcu: RP2040, code: Callable[[int], int]) -> None:
        self._adc: Any = mcu.adc
        self._code = code
        self._channel = 0
        self._adc.on_adc_read = self._start
        self._alarm = mcu.clock.create_alarm(self._finish)

    def _start(self, channel: int) -> None:
        self._channel = channel
        self._alarm.schedule(2000)

    def _finish(self) -> None:
        self._adc.complete_adc_read(self._code(self._channel), False)


class ExternalInputs:
    """An MCP3208 on its four pins: `code(channel)` gives the 12-bit code when the input is sampled.

    Clocked as its datasheet says (Microchip DS21298, figure 5-1): start bit, single/differential, D2 D1 D0
    at the rising edges, sampled at the next one, then a null bit and twelve bits, changing at the falling
    edges.
    """

    def __init__(self, mcu: RP2040, pins: dict[str, int], code: Callable[[int], int]) -> None:
        self._code = code
        self._din: Any = mcu.gpio[pins["CONV_DIN"]]
        self._dout: Any = mcu.gpio[pins["CONV_DOUT"]]
        self._dout.direct = True  # it changes half a microsecond before the PIO reads it
        self._selected = False
        self._bits = 0
        self._command = 0
        self._word = 0
        self.connected = True
        mcu.gpio[pins["CONV_CS_N"]].add_listener(self._on_select)
        mcu.gpio[pins["CONV_CLK"]].add_listener(self._on_clock)

    def _on_select(self, value: int, _last: int) -> None:
        self._selected = value == 0 and self.connected
        self._bits = 0
        self._command = 0
        self._dout.release_input()

    def _on_clock(self, value: int, _last: int) -> None:
        if not self._selected:
            return
        if value == 1:
            self._rising()
        elif self._bits >= 6:  # the null bit appears at the falling edge of clock 6, then one bit at each
            shift = 18 - self._bits
            self._dout.set_input_value(bool(self._word >> shift & 1) if 0 <= shift < 12 else False)

    def _rising(self) -> None:
        if self._bits == 0 and not self._din.output_value:
            return  # no start bit yet
        self._bits += 1
        if self._bits <= 5:
            self._command = self._command << 1 | bool(self._din.output_value)
        elif self._bits == 6:
            self._word = self._code(self._command & 7)

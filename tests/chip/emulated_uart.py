"""The far end of the emulated chip's UART 0, and its transmitter as the real one is."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from strokebench.sim.chip.machine import ChipMachine

DATA, FLAGS, LEVELS, CLEAR = 0x00, 0x18, 0x34, 0x44
TX_EMPTY, TX_FULL, TX_INTERRUPT = 1 << 7, 1 << 5, 1 << 5
DEPTH = 32
TRIGGERS = (4, 8, 16, 24, 28)
BITS = 10  # start, eight bits, stop
PERI_CONTROL, USB_PLL, USB_PLL_HZ = 0x40008048, 2, 48e6
"""Where the UART's clock comes from (datasheet 2.15.7); the emulator takes it for the system's 125 MHz."""


def mend_transmitter(machine: ChipMachine) -> None:
    """RP2040 datasheet 4.2: 32 bytes of FIFO leave at the line's speed, and the transmit interrupt comes when
    the level falls to the trigger.

    The emulator sends at once and holds that interrupt for ever, so the firmware never leaves its handler.
    """
    uart: Any = machine.mcu.uart[0]

    class Uart(type(uart)):  # type: ignore[misc]
        queue: list[int] = []  # noqa: RUF012
        levels = 2  # reset value: half

        @property
        def baud_rate(self) -> int:
            source = self.rp2040.read_uint32(PERI_CONTROL) >> 5 & 7
            hertz = USB_PLL_HZ if source == USB_PLL else self.rp2040.clk_peri
            return round(hertz / (16 * self.baud_divider))

        @property
        def flags(self) -> int:
            empty, full = not self.queue, len(self.queue) >= DEPTH
            return super().flags & ~TX_EMPTY | TX_EMPTY * empty | TX_FULL * full

        def check_interrupts(self) -> None:
            self.rp2040.set_interrupt(self.irq, bool(self._interrupt_status & self._interrupt_mask))

        def read_uint32(self, offset: int) -> int:
            return self.levels if offset == LEVELS else int(super().read_uint32(offset))

        def write_uint32(self, offset: int, value: int) -> None:
            if offset == LEVELS:
                self.levels = value
            elif offset != DATA:
                super().write_uint32(offset, value)
            elif len(self.queue) < DEPTH:
                self.queue.append(value & 0xFF)
                if len(self.queue) > TRIGGERS[self.levels & 7]:
                    self._interrupt_status &= ~TX_INTERRUPT
                    self.check_interrupts()
                if len(self.queue) == 1:
                    leave.schedule(BITS * 1e9 / self.baud_rate)

    def sent() -> None:
        uart.on_byte(uart.queue.pop(0))
        if len(uart.queue) == TRIGGERS[uart.levels & 7]:
            uart._interrupt_status |= TX_INTERRUPT
            uart.check_interrupts()
        if uart.queue:
            leave.schedule(BITS * 1e9 / uart.baud_rate)

    leave = machine.alarm(sent)
    uart.__class__ = Uart


class UartPort:
    """A port (see strokebench.link.port) on UART 0; bytes go both ways at the line's speed."""

    def __init__(self, machine: ChipMachine, baud: int) -> None:
        mend_transmitter(machine)
        self.machine = machine
        self.uart: Any = machine.mcu.uart[0]
        self.inbox, self._outbox = bytearray(), bytearray()
        self._byte_ns = BITS * 1e9 / baud
        self.uart.on_byte = self.inbox.append
        self._next = machine.alarm(self._feed)

    def _feed(self) -> None:
        self.uart.feed_byte(self._outbox.pop(0))
        if self._outbox:
            self._next.schedule(self._byte_ns)

    def read(self, timeout_s: float) -> bytes:
        self.machine.run(timeout_s, lambda: self.inbox)
        data = bytes(self.inbox)
        self.inbox.clear()
        return data

    def write(self, data: bytes) -> None:
        idle = not self._outbox
        self._outbox += data
        if idle and data:
            self._next.schedule(self._byte_ns)

    def close(self) -> None: ...

    def now(self) -> float:
        return self.machine.now_s

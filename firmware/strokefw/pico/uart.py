"""Bytes to and from the laptop over a UART, for an isolated link: used when the file /uart exists."""

import machine
import micropython
from machine import Pin
from micropython import const

from strokefw.pico import pins, regs

_BAUD = const(921600)
_BEFORE_TICK = const(0x40)


class UartLink:
    """UART 0 at 921600 baud on the pins UART_TX and UART_RX, for an isolated link."""

    def __init__(self):
        self._uart = machine.UART(
            0,
            _BAUD,
            tx=Pin(pins.gpio("UART_TX")),
            rx=Pin(pins.gpio("UART_RX")),
            rxbuf=1024,
            txbuf=2048,
            timeout=0,
        )
        # The UART keeps 32 bytes, 0.35 ms, and a tick may take longer: its interrupt goes before the tick's.
        shift = regs.UART0_IRQ % 4 * 8
        at = regs.PRIORITIES + regs.UART0_IRQ - shift // 8
        regs.poke(at, regs.peek(at) & ~(0xFF << shift) | _BEFORE_TICK << shift)
        micropython.kbd_intr(3)

    def read(self, buf):
        """Take what has come, at most len(buf) bytes; returns how many."""
        return self._uart.readinto(buf) or 0

    def write(self, buf, n):
        """Hand over at most `n` bytes; returns how many were taken."""
        return self._uart.write(memoryview(buf)[:n]) or 0

    repl_wanted = False  # the REPL is on USB: Ctrl-C there works all the time

    def close(self):
        """Release the UART."""
        self._uart.deinit()

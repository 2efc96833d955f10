"""Bytes to and from the laptop: USB serial, or the UART when the file /uart exists. Never blocks for long."""

import sys
from select import POLLIN, POLLOUT, poll
from time import ticks_diff, ticks_ms

import machine
import micropython
from machine import Pin
from micropython import const

from strokefw.link import cobs
from strokefw.pico import cobs as fast_cobs
from strokefw.pico import pins, regs

_BAUD = const(921600)
_BEFORE_TICK = const(0x40)
_PAUSE_MS = const(200)  # nothing stays under way for longer: what follows is a beginning
_PIECE = const(256)  # the USB stack's buffer: a write of this is over in well under a millisecond


def open_link():
    """The link in use: UART when the file /uart is there, else USB."""
    import os

    cobs.encode_into = fast_cobs.encode  # ten times faster than viper's

    return UartLink() if "uart" in os.listdir("/") else UsbLink()


class UsbLink:
    """The USB serial port, clean for binary data: byte 3 is data, not an interrupt."""

    def __init__(self):
        self._in = sys.stdin.buffer
        self._out = sys.stdout.buffer
        self._poll_in = poll()
        self._poll_in.register(sys.stdin, POLLIN)
        self._poll_out = poll()
        self._poll_out.register(sys.stdout, POLLOUT)
        self._octet = bytearray(1)
        self._before = 0  # the last byte, and the one before it in bits 8..15
        self._heard_ms = ticks_ms()
        self.repl_wanted = False
        micropython.kbd_intr(-1)

    def read(self, buf):
        """Take what has come, at most len(buf) bytes; returns how many."""
        ready = self._poll_in.ipoll
        take = self._in.readinto
        octet = self._octet
        n = 0
        limit = 0 if self.repl_wanted else len(buf)
        while n < limit:
            for _ in ready(0):
                break
            else:
                return n
            if not n:
                self._after_pause()
            take(octet)
            byte = octet[0]
            if byte == 3 and self._before == 13:  # at a frame's beginning; what follows is for the REPL
                self.repl_wanted = True
                return n
            self._before = (self._before << 8 | byte) & 0xFFFF
            buf[n] = byte
            n += 1
        return n

    def _after_pause(self):
        # Without it, a stray byte would shut the way to the REPL until the next whole frame. A person may
        # pause between the return and Ctrl-C.
        now_ms = ticks_ms()
        if ticks_diff(now_ms, self._heard_ms) > _PAUSE_MS:
            self._before = 13 if self._before & 0xFF == 13 else 0
        self._heard_ms = now_ms

    def write(self, buf, n):
        """Hand over at most `n` bytes; returns how many were taken (0 while the port's buffer is full)."""
        for _ in self._poll_out.ipoll(0):
            break
        else:
            return 0
        return self._out.write(memoryview(buf)[: min(n, _PIECE)])

    def close(self):
        """Back to the REPL's manners: Ctrl-C interrupts again."""
        micropython.kbd_intr(3)


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

"""Bytes to and from the laptop over USB, never waiting for it.

Packets are always whole: 64 bytes, the rest of a frame's last one filled with zeros. So the USB stack's
buffer, four packets long, always holds whole ones, and room for one byte is room for a packet. Nothing is
written while the bus sleeps, when the stack would take "not connected" for "write as you please" and then
wait. docs/explanation/on-the-chip.md has the whole argument.
"""

import sys
from select import POLLIN, POLLOUT, poll
from time import ticks_diff, ticks_ms, ticks_us

import micropython
from micropython import const

from strokefw.link import bus
from strokefw.pico import regs

_PAUSE_MS = const(200)  # nothing stays under way for longer: what follows is a beginning
_PACKET = const(64)
_STACK_BYTES = const(320)  # of the USB stack: its buffer of 256, and the packet on its way
_RETURN = const(13)
_CTRL_C = const(3)

_awake = bus.awake


@micropython.viper
def _fill(packet: ptr8, buf: ptr8, at: int, n: int) -> int:
    # the next packet of buf[at:n]; returns how many of its bytes are in it
    left = n - at
    if left > _PACKET:
        left = _PACKET
    for i in range(left):
        packet[i] = buf[at + i]
    for i in range(left, _PACKET):
        packet[i] = 0
    return left


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
        self._under_way = False  # a frame has begun
        self._held = False  # a carriage return where a frame would begin
        self._heard_ms = ticks_ms()
        self._bus = bus.watch()
        self._packet = bytearray(_PACKET)
        self._whole = False  # the USB stack's buffer holds whole packets
        self.repl_wanted = False
        micropython.kbd_intr(-1)

    def read(self, buf):
        """Take what has come, at most len(buf) bytes; returns how many."""
        ready = self._poll_in.ipoll
        take = self._in.readinto
        octet = self._octet
        n = 0
        limit = 0 if self.repl_wanted else len(buf) - 1  # a byte may bring the return before it
        paused = False
        while n < limit:
            for _ in ready(0):
                break
            else:
                return n
            if not n:
                paused = self._paused()
                if paused and self._under_way:
                    buf[0] = 0  # what never came to its end does not spoil what comes now
                    n = 1
                    self._under_way = False
            take(octet)
            byte = octet[0]
            if self._held:
                self._held = False
                if byte == _CTRL_C:  # what follows is for the REPL
                    self.repl_wanted = True
                    return n
                if not paused:
                    buf[n] = _RETURN
                    n += 1
                    self._under_way = True
            if byte == _RETURN and not self._under_way:
                self._held = True
            else:
                self._under_way = byte != 0
                buf[n] = byte
                n += 1
            paused = False
        return n

    def _paused(self):
        # a person may pause between the return and Ctrl-C
        now_ms = ticks_ms()
        paused = ticks_diff(now_ms, self._heard_ms) > _PAUSE_MS
        self._heard_ms = now_ms
        return paused

    def write(self, buf, n):
        """Hand over ``buf[:n]``, the rest of a frame; returns how many were taken."""
        ready = self._poll_out.ipoll
        put = self._out.write
        packet = self._packet
        at = 0
        while at < n:
            if not (_awake(self._bus, regs.USB_FRAME, ticks_us()) and (self._whole or self._begin())):
                return at
            for _ in ready(0):
                break
            else:
                return at
            at += _fill(packet, buf, at, n)
            if put(packet) != _PACKET:
                self._whole = False  # somebody else has written; the frame is lost, and its number tells
                return n
        return n

    def _begin(self):
        # Bring the USB stack's buffer to whole packets, whatever was printed before: it is full now, or the
        # laptop empties it. A single byte never waits when there is room for one.
        octet = self._octet
        octet[0] = 0
        for _ in range(_STACK_BYTES):
            if not _awake(self._bus, regs.USB_FRAME, ticks_us()):
                return False
            for _ in self._poll_out.ipoll(0):
                break
            else:
                break
            self._out.write(octet)
        self._whole = True
        return True

    def close(self):
        """Back to the REPL's manners: Ctrl-C interrupts again."""
        micropython.kbd_intr(3)

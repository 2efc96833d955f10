"""The buffers between the chip's USB controller and the bus, as the RP2040 has them.

rp2040py 0.3 empties a buffer as soon as the firmware gives it to the controller, as if a computer took it
that instant. On the chip a buffer belongs to the controller until the computer has asked for it: AVAILABLE
stays set, BUFF_STATUS stays clear, and the firmware waits (RP2040 datasheet 4.1.2.5 and 4.1.2.6, bits of
EP_BUFFER_CONTROL and EP_CONTROL).
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from rp2040py.rp2040 import RP2040

ENDPOINTS = 16
SETUPS, CONTROLS, CONTROLS_END = 0x00, 0x80, 0x100
BUFFER_0 = 0x100
"""Endpoint 0 has its buffer here; the others name theirs in EP_CONTROL."""
AVAILABLE, SELECT_0, FULL, LENGTH = 1 << 10, 1 << 12, 1 << 15, 0x3FF
SECOND, SECOND_AT = 16, 64
"""The second buffer of a pair: its bits in the control word, its place behind the first."""
ENABLED, PAIR, EACH, PLACE = 1 << 31, 1 << 30, 1 << 29, 0xFFC0


class Buffers:
    """All endpoint buffers of a device. ``armed(endpoint, out)`` is called as the firmware hands one over."""

    def __init__(self, mcu: RP2040, armed: Callable[[int, bool], None]) -> None:
        self._usb: Any = mcu.usb_ctrl
        self._memory = mcu.usb_dpram
        self._armed = armed
        self._second = [False] * (2 * ENDPOINTS)
        self._usb.dpram_updated = self._on_write

    def _on_write(self, offset: int, value: int) -> None:
        if not CONTROLS <= offset < CONTROLS_END:
            return
        if value & SELECT_0:
            self._second[(offset - CONTROLS) >> 2] = False
        if value & (AVAILABLE | AVAILABLE << SECOND):
            self._armed((offset - CONTROLS) >> 3, bool(offset & 4))

    def _word(self, offset: int) -> int:
        return int.from_bytes(self._memory[offset : offset + 4], "little")

    def _next(self, endpoint: int, out: bool) -> tuple[int, int, bool]:
        """Shift of the next buffer's bits, its place (0: not available), and whether BUFF_STATUS is due."""
        side = 4 * out
        setup = self._word(SETUPS + 8 * endpoint + side) if endpoint else ENABLED | BUFFER_0
        pair = bool(setup & PAIR)
        second = pair and self._second[2 * endpoint + out]
        shift = SECOND * second
        control = self._word(CONTROLS + 8 * endpoint + side) >> shift
        place = (setup & PLACE) + SECOND_AT * second
        if not (setup & ENABLED and control & AVAILABLE):
            place = 0
        return shift, place, second or not pair or bool(setup & EACH)

    def _passed(self, endpoint: int, out: bool, clear: int, put: int) -> None:
        """The bus has used a buffer: change its bits, go on to the other of a pair, and tell the firmware."""
        shift, _, due = self._next(endpoint, out)
        offset = CONTROLS + 8 * endpoint + 4 * out
        control = self._word(offset) & ~(clear << shift) | put << shift
        self._memory[offset : offset + 4] = control.to_bytes(4, "little")
        self._second[2 * endpoint + out] = not self._second[2 * endpoint + out]
        if not (endpoint and self._word(SETUPS + 8 * endpoint + 4 * out) & PAIR):
            self._second[2 * endpoint + out] = False
        if due:
            self._usb._indicate_buffer_ready(endpoint, out)

    def waits(self, endpoint: int) -> bool:
        """Whether a packet for the computer is in a buffer."""
        return self._next(endpoint, False)[1] > 0

    def take(self, endpoint: int) -> bytes | None:
        """The packet that an IN token gets; None: the chip answers NAK."""
        shift, place, _ = self._next(endpoint, False)
        if not place:
            return None
        length = self._word(CONTROLS + 8 * endpoint) >> shift & LENGTH
        packet = bytes(self._memory[place : place + length])
        self._passed(endpoint, False, AVAILABLE | FULL, 0)
        return packet

    def room(self, endpoint: int) -> int | None:
        """How many bytes an OUT packet may have; None: the chip answers NAK."""
        shift, place, _ = self._next(endpoint, True)
        return self._word(CONTROLS + 8 * endpoint + 4) >> shift & LENGTH if place else None

    def put(self, endpoint: int, packet: bytes) -> None:
        """Put an OUT packet into the buffer that has room for it."""
        _, place, _ = self._next(endpoint, True)
        self._memory[place : place + len(packet)] = packet
        self._passed(endpoint, True, AVAILABLE | LENGTH, FULL | len(packet))

    def reset(self) -> None:
        """The controller is reset: every pair begins with its first buffer."""
        self._second = [False] * (2 * ENDPOINTS)

"""The laptop's end of the emulated Pico's USB serial port.

The emulator's own host side answers every armed OUT endpoint at once with an empty packet, so that
an idle firmware spends most of its time in the USB interrupt and every timing measured is several
times too long. A real host sends an OUT packet only when it has bytes. This class keeps the
firmware's request until there is something to send, and paces packets like a full-speed bus.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from rp2040py.rp2040 import RP2040

PACKET_US = 64
"""Time of one 64-byte bulk packet. A full-speed frame holds at most 19 of them (USB 2.0, table 5-9),
which is 53 us each; 64 us leaves room for other traffic."""


class HostSerial:
    """Bytes to and from the firmware's CDC port."""

    def __init__(self, mcu: RP2040) -> None:
        from rp2040py.usb.cdc import USBCDC

        self._usb: Any = mcu.usb_ctrl
        self._cdc: Any = USBCDC(mcu.usb_ctrl)
        self._outbox = bytearray()
        self._wanted = 0
        self.inbox = bytearray()
        self.connected = False
        self.connections = 0
        self._cdc.on_serial_data = self.inbox.extend
        self._cdc.on_device_connected = self._on_connected
        self._answer_control = self._usb.on_endpoint_read
        self._reset_cdc = self._usb.on_reset
        self._usb.on_endpoint_read = self._on_endpoint_read
        self._usb.on_reset = self._on_reset
        self._usb.write_delay_microseconds = PACKET_US
        self._usb.read_delay_microseconds = PACKET_US

    def send(self, data: bytes) -> None:
        """Queue bytes for the firmware; they leave as it asks for them."""
        self._outbox += data
        self._serve()

    def take(self) -> bytes:
        """Everything received since the last call."""
        data = bytes(self.inbox)
        self.inbox.clear()
        return data

    def _on_connected(self) -> None:
        self.connected = True
        self.connections += 1

    def _on_reset(self) -> None:
        self.connected = False
        self._wanted = 0
        self._outbox.clear()
        self._reset_cdc()

    def _on_endpoint_read(self, endpoint: int, size: int) -> None:
        if endpoint != self._cdc._out_endpoint:
            self._answer_control(endpoint, size)
            return
        self._wanted = size
        self._serve()

    def _serve(self) -> None:
        if not (self._wanted and self._outbox):
            return
        packet = bytes(self._outbox[: self._wanted])
        del self._outbox[: len(packet)]
        self._wanted = 0
        self._usb.endpoint_read_done(self._cdc._out_endpoint, packet)

"""The laptop's end of the emulated Pico's USB serial port.

A packet leaves the chip when the laptop asks for it, and one is sent to the chip when there are bytes for
it. So a laptop that reads slowly, not at all, sleeps, or has its cable pulled is seen by the firmware as it
would be on a real bus, by what the controller's registers then say.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING, Any

from strokebench.sim.chip.endpoints import ENDPOINTS, Buffers

if TYPE_CHECKING:
    from rp2040py.rp2040 import RP2040

PACKET_US = 64.0
"""Time of one 64-byte bulk packet. A full-speed frame holds at most 19 of them (USB 2.0, table 5-9),
which is 53 us each; 64 us leaves room for other traffic."""
FRAME_NS = 1e6
IDLE_NS = 3e6
"""No start of frame for so long is a suspend (USB 2.0, 7.1.7.6)."""
RESUME_NS = 30e6
"""A host signals resume for 20 ms and leaves 10 ms for recovery before it asks (USB 2.0, 7.1.7.7)."""
VBUS_PIN = 24
"""Raspberry Pi Pico datasheet, 2.1: GPIO24 is high while there is 5 V on the USB connector."""
SOF_RD, SIE_STATUS, INTE = 0x48, 0x50, 0x90
CONTROLLER_EN, SUSPENDED, RESUME = 1 << 0, 1 << 4, 1 << 11
DEV_SOF = 1 << 17
"""In INTR and INTE: a start of frame came. Reading SOF_RD clears it."""
FRAMES = 0x7FF
TO_HOST = 0x80
"""bmRequestType of a request whose data go to the host (USB 2.0, table 9-2)."""


class Due:
    """An alarm that knows whether it is set; set again, it keeps its time."""

    def __init__(self, clock: Any, callback: Callable[[], None]) -> None:
        self._callback = callback
        self._alarm = clock.create_alarm(self._on_time)
        self._is_set = False

    def set(self, wait_ns: float) -> None:
        """Call back in ``wait_ns``, unless that is to come already."""
        if not self._is_set:
            self._is_set = True
            self._alarm.schedule(wait_ns)

    def cancel(self) -> None:
        """Do not call back."""
        self._is_set = False
        self._alarm.cancel()

    def _on_time(self) -> None:
        self._is_set = False
        self._callback()


class HostSerial:
    """Bytes to and from the firmware's CDC port, and everything that a laptop can do to it.

    ``packet_us``: the laptop asks for serial data once in so long; ``reading``: whether it asks at all (it
    goes on sending, and sends start-of-frame packets). :meth:`sleep` and :meth:`unplug` end those, too.
    """

    def __init__(self, mcu: RP2040) -> None:
        from rp2040py.usb.cdc import USBCDC

        self._usb: Any = mcu.usb_ctrl
        self._cdc: Any = USBCDC(mcu.usb_ctrl)
        self._clock = mcu.clock
        self._vbus: Any = mcu.gpio[VBUS_PIN]
        self._buffers = Buffers(mcu, self._on_armed)
        self._outbox = bytearray()
        self._answers: list[tuple[int, bytes]] = []
        self.inbox = bytearray()
        self.connected = False
        self.connections = 0
        self.packet_us = PACKET_US
        self.reading = True
        self.plugged = True
        self.asleep = False
        self._drowsy = False
        self._frame_at_ns = 0.0
        self._frame = 0
        self._asked_ns = 0.0
        self._tokens = [Due(mcu.clock, partial(self._on_token, i)) for i in range(ENDPOINTS)]
        self._reply = Due(mcu.clock, self._on_reply)
        self._sending = Due(mcu.clock, self._on_send)
        self._idle = Due(mcu.clock, self._on_idle)
        self._resumed = Due(mcu.clock, self._on_resumed)
        self._sof = Due(mcu.clock, self._on_sof)
        self._cdc.on_serial_data = self.inbox.extend
        self._cdc.on_device_connected = self._on_connected
        self._reset_cdc = self._usb.on_reset
        self._enumerate = self._usb.on_usb_enabled
        self._request: Any = None
        self._reads = False
        self._requesting = Due(mcu.clock, self._on_request)
        self._send_setup, self._usb.send_setup_packet = self._usb.send_setup_packet, self._ask_for
        self._address = self._usb.on_reset_received
        self._usb.on_reset = self._on_reset
        self._usb.on_reset_received = self._on_bus_reset
        self._usb.on_usb_enabled = self._on_enabled
        self._usb.endpoint_read_done = self._on_answer
        self._read_register, self._usb.read_uint32 = self._usb.read_uint32, self._on_register_read
        self._write_register, self._usb.write_uint32 = self._usb.write_uint32, self._on_register_write
        self._vbus.set_input_value(True)

    # -- what a laptop does -------------------------------------------------------------------------------

    def send(self, data: bytes) -> None:
        """Queue bytes for the firmware; they leave as it has room for them."""
        self._outbox += data
        self._serve()

    def take(self) -> bytes:
        """Everything received since the last call."""
        data = bytes(self.inbox)
        self.inbox.clear()
        return data

    def stop_reading(self) -> None:
        """A program that holds the port open and reads no more, once the laptop's own buffers are full."""
        self.reading = False

    def go_on_reading(self, packet_us: float = PACKET_US) -> None:
        """Ask again, once in ``packet_us``."""
        self.packet_us = packet_us
        self.reading = True
        self._ask()

    def sleep(self) -> None:
        """The laptop sleeps and leaves its port powered: nothing comes from it, not even a start of frame."""
        self._stop_frames()
        self.asleep = True
        self._idle.set(IDLE_NS)

    def sleep_in_a_frame(self) -> None:
        """Sleep as soon as two packets have come right behind each other, so that the chip has more to send
        of what it has begun."""
        self._drowsy = True

    def wake(self) -> None:
        """The laptop wakes and goes on where it was."""
        self._idle.cancel()
        self._raise(RESUME)
        self._resumed.set(RESUME_NS)

    def unplug(self) -> None:
        """The cable is pulled while the chip has another supply. Without a VBUS pin at the controller this
        looks like sleep (RP2040 datasheet 4.1.2.6.4)."""
        self.sleep()
        self.plugged = self.connected = False
        self._outbox.clear()
        self._forget_requests()
        self._vbus.set_input_value(False)

    def plug_in(self) -> None:
        """The cable is put in again: the laptop resets the bus and enumerates anew. No frame comes before the
        reset (USB 2.0, 7.1.7.3 and 7.1.7.5)."""
        self._idle.cancel()
        self.plugged = True
        self._vbus.set_input_value(True)
        self._reset_cdc()
        self._enumerate()

    # -- what the bus does --------------------------------------------------------------------------------

    def _on_armed(self, endpoint: int, out: bool) -> None:
        if out and endpoint == 0 and self._request is not None:
            self._requesting.set(PACKET_US * 1e3)
        elif out and endpoint == 0:
            self._usb.on_endpoint_read(0, self._buffers.room(0) or 0)
        elif out:
            self._serve()
        else:
            self._schedule(endpoint)

    def _asks(self, endpoint: int) -> bool:
        return not self.asleep and (self.reading or endpoint != self._cdc._in_endpoint)

    def _ask(self) -> None:
        for endpoint in range(ENDPOINTS):
            if self._buffers.waits(endpoint):
                self._schedule(endpoint)
        self._serve()

    def _schedule(self, endpoint: int) -> None:
        if not self._asks(endpoint):
            return
        wait_ns = PACKET_US * 1e3
        if endpoint == self._cdc._in_endpoint:
            wait_ns = max(wait_ns, self._asked_ns + self.packet_us * 1e3 - self._clock.nanos)
        self._tokens[endpoint].set(wait_ns)

    def _on_token(self, endpoint: int) -> None:
        packet = self._buffers.take(endpoint) if self._asks(endpoint) else None
        if packet is None:
            return
        if endpoint == 0:  # the laptop's own software thinks about what it asked
            self._answers.append((endpoint, packet))
            self._reply.set(PACKET_US * 1e3)
        else:
            pause_ns, self._asked_ns = self._clock.nanos - self._asked_ns, self._clock.nanos
            self._usb.on_endpoint_write(endpoint, packet)
            if self._drowsy and pause_ns < 2 * PACKET_US * 1e3:
                self._drowsy = False
                self.sleep()
        if self._buffers.waits(endpoint):
            self._schedule(endpoint)

    def _on_reply(self) -> None:
        answers, self._answers = self._answers, []
        for endpoint, packet in answers:
            self._usb.on_endpoint_write(endpoint, packet)

    def _on_answer(self, endpoint: int, buffer: bytes) -> None:
        """The emulator's own host side has the data stage of a control request."""
        if endpoint == 0 and self._buffers.room(0) is not None:
            self._buffers.put(0, bytes(buffer))

    def _ask_for(self, setup: Any) -> None:
        """Send a request. What the chip was asked to tell ends with an empty packet from the laptop (status
        stage, USB 2.0, 8.5.3), which the chip may keep waiting; no other request comes before that."""
        if not self._reads:
            self._reads = bool(setup[0] & TO_HOST)
            self._send_setup(setup)
            return
        self._request = setup
        if self._buffers.room(0) is not None:
            self._requesting.set(PACKET_US * 1e3)

    def _on_request(self) -> None:
        if self._reads and self._buffers.room(0) is not None:
            self._buffers.put(0, b"")
            self._reads = False
            self._requesting.set(PACKET_US * 1e3)
        elif not self._reads and self._request is not None:
            setup, self._request = self._request, None
            self._ask_for(setup)

    def _forget_requests(self) -> None:
        self._answers.clear()
        self._request = None
        self._reads = False

    def _serve(self) -> None:
        endpoint = self._cdc._out_endpoint
        if self._outbox and not self.asleep and endpoint > 0 and self._buffers.room(endpoint):
            self._sending.set(PACKET_US * 1e3)

    def _on_send(self) -> None:
        room = None if self.asleep else self._buffers.room(self._cdc._out_endpoint)
        if room and self._outbox:
            packet = bytes(self._outbox[:room])
            del self._outbox[: len(packet)]
            self._buffers.put(self._cdc._out_endpoint, packet)
            self._serve()

    # -- what the controller's registers say of it --------------------------------------------------------

    def _stop_frames(self) -> None:
        self._frame = self._frames()
        for alarm in (*self._tokens, self._reply, self._requesting, self._sending, self._resumed, self._sof):
            alarm.cancel()

    def _frames(self) -> int:
        if self.asleep:
            return self._frame
        return int(self._frame + (self._clock.nanos - self._frame_at_ns) // FRAME_NS) & FRAMES

    def _raise(self, status: int) -> None:
        if self._usb._main_ctrl & CONTROLLER_EN:
            self._usb._sie_status |= status
            self._usb._sie_status_updated()

    def _on_idle(self) -> None:
        self._raise(SUSPENDED)

    def _on_resumed(self) -> None:
        self._begin_frames()
        if self.connected:
            self._ask()
        else:  # the chip was reset meanwhile
            self._reset_cdc()
            self._enumerate()

    def _begin_frames(self) -> None:
        self.asleep = False
        self._frame_at_ns = self._clock.nanos
        self._expect_sof()

    def _expect_sof(self) -> None:
        if self._usb._int_enable & DEV_SOF and not self.asleep:
            self._sof.set(FRAME_NS - (self._clock.nanos - self._frame_at_ns) % FRAME_NS)

    def _on_sof(self) -> None:
        self._usb._int_raw |= DEV_SOF
        self._usb.check_interrupts()
        self._expect_sof()

    def _on_register_read(self, offset: int) -> int:
        if offset != SOF_RD:
            return int(self._read_register(offset))
        self._usb._int_raw &= ~DEV_SOF
        self._usb.check_interrupts()
        return self._frames()

    def _on_register_write(self, offset: int, value: int) -> None:
        if offset == SIE_STATUS:  # SUSPENDED is cleared by writing 1; the emulator never clears it
            self._usb._sie_status &= ~(self._usb.raw_write_value & SUSPENDED)
        self._write_register(offset, value)
        if offset == INTE:
            self._expect_sof()

    def _on_enabled(self) -> None:
        if not self.asleep:
            self._enumerate()

    def _on_bus_reset(self) -> None:
        if self.asleep:
            self._begin_frames()
        self._address()

    def _on_connected(self) -> None:
        self.connected = True
        self.connections += 1

    def _on_reset(self) -> None:
        self.connected = False
        self._outbox.clear()
        self._forget_requests()
        for alarm in (*self._tokens, self._reply, self._requesting, self._sending, self._sof):
            alarm.cancel()
        self._buffers.reset()
        self._reset_cdc()

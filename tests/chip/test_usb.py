"""The emulated USB port does what a real one does to a firmware: it makes it wait.

Register names and bits are those of the RP2040 datasheet, 4.1. A boot without our firmware takes 17 emulated
ms; the whole file takes about 10 CPU s.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator

import pytest
from strokebench.sim.chip import usb
from strokebench.sim.chip.endpoints import AVAILABLE, CONTROLS, FULL, LENGTH
from strokebench.sim.chip.machine import ChipMachine

pytestmark = pytest.mark.chip
WRITES = """
import sys, time, select
out = sys.stdout.buffer
free = select.poll()
free.register(sys.stdout, select.POLLOUT)
came = []
def write(n):
    ready = bool(free.poll(0))
    began = time.ticks_ms()
    taken = out.write(bytes(n))
    came.append((ready, taken, time.ticks_diff(time.ticks_ms(), began)))
"""
STOPPED_MS = 500
"""MicroPython waits so long for room in its buffer (MICROPY_HW_USB_CDC_TX_TIMEOUT)."""
SLEPT_S = 0.06
USB_BASE, BUFF_STATUS = 0x50110000, 0x58


@pytest.fixture(scope="module")
def pico(start_chip: Callable[[], ChipMachine]) -> Iterator[ChipMachine]:
    """MicroPython's prompt, with `write(n)` that notes what became of each write in `came`."""
    machine = start_chip()
    machine.execute(WRITES)
    yield machine


@pytest.fixture(autouse=True)
def reads_again(pico: ChipMachine) -> Iterator[None]:
    yield
    pico.usb.go_on_reading()


def _begin(pico: ChipMachine, source: str) -> None:
    """Start a program at the raw prompt, which then waits 10 ms."""
    pico.execute("came.clear()")
    pico.usb.send(b"time.sleep_ms(10)\n" + source.encode() + b"\x04")
    assert pico.run(0.1, lambda: b"OK" in pico.usb.inbox)


def _came(pico: ChipMachine) -> list[tuple[bool, int, int]]:
    """Wait for the program's end; for each write: whether POLLOUT said yes, bytes taken, ms."""
    assert pico.run(1.0, lambda: pico.usb.inbox.endswith(b"\x04\x04>"))
    rows: list[tuple[bool, int, int]] = json.loads(pico.execute("import json; print(json.dumps(came))"))
    return rows


def _register(pico: ChipMachine, offset: int) -> int:
    return int(pico.mcu.read_uint32(USB_BASE + offset))


def test_a_packet_stays_in_its_buffer_until_the_computer_asks(pico: ChipMachine) -> None:
    """4.1.2.5: AVAILABLE stays set while the buffer is the controller's, and BUFF_STATUS clear."""
    _begin(pico, "write(64)")
    pico.usb.stop_reading()
    pico.run(0.03)
    control = CONTROLS + 8 * pico.usb._cdc._in_endpoint
    waiting = int.from_bytes(pico.mcu.usb_dpram[control : control + 4], "little")
    assert waiting & AVAILABLE and waiting & FULL and waiting & LENGTH == 64
    assert not _register(pico, BUFF_STATUS) and pico.usb.take() == b"OK"
    pico.usb.go_on_reading()
    pico.run(0.001)
    assert pico.usb.inbox.startswith(bytes(64))
    assert not int.from_bytes(pico.mcu.usb_dpram[control : control + 4], "little") & AVAILABLE


def test_a_computer_that_does_not_read_blocks_a_write_for_a_second(pico: ChipMachine) -> None:
    """POLLOUT says that one byte is free; a write of more than is free waits twice."""
    _begin(pico, "write(256)\nwrite(256)\nwrite(256)")
    pico.usb.stop_reading()
    pico.run(1.7)
    pico.usb.go_on_reading()
    first, second, third = _came(pico)
    assert first[:2] == [True, 256] and first[2] <= 1  # the edge of a millisecond may fall in it
    assert second[:2] == [True, 64] and 2 * STOPPED_MS <= second[2] <= 2 * STOPPED_MS + 5
    assert third[:2] == [False, 0] and STOPPED_MS <= third[2] <= STOPPED_MS + 5


def test_a_write_of_whole_packets_that_poll_allows_never_blocks(pico: ChipMachine) -> None:
    """At a slow computer: one packet in 3 ms, and 64 bytes offered each millisecond."""
    _begin(pico, "for _ in range(90):\n if free.poll(0): write(64)\n time.sleep_ms(1)")
    pico.usb.go_on_reading(packet_us=3000)
    pico.run(0.1)
    pico.usb.go_on_reading()
    rows = _came(pico)
    assert 25 < len(rows) < 45  # the slow computer was felt
    assert all(taken == 64 and ms <= 1 for _, taken, ms in rows)


def test_a_slow_computer_gets_a_packet_in_its_time(pico: ChipMachine) -> None:
    _begin(pico, "write(256)\nwrite(256)")
    pico.usb.take()
    pico.usb.go_on_reading(packet_us=2000)
    began_s = pico.now_s
    assert pico.run(0.1, lambda: len(pico.usb.inbox) >= 512)
    assert 0.014 <= pico.now_s - began_s <= 0.030  # eight packets, and the wait before them
    pico.usb.go_on_reading()
    _came(pico)


def test_no_start_of_frame_for_three_milliseconds_is_a_suspend(pico: ChipMachine) -> None:
    """4.1.2.6.4: SUSPENDED and its interrupt, which the firmware clears; a full buffer then waits."""
    raised: list[float] = []
    set_interrupt = pico.mcu.usb_ctrl.check_interrupts
    pico.mcu.usb_ctrl.check_interrupts = lambda: (_note_suspend(pico, raised), set_interrupt())
    _begin(pico, "for _ in range(5): write(64)")
    slept_s = pico.now_s
    pico.usb.sleep()
    frame = _register(pico, usb.SOF_RD)
    assert pico.run(0.005, lambda: raised)
    assert raised[0] - slept_s == pytest.approx(usb.IDLE_NS * 1e-9, abs=1e-6)
    pico.run(SLEPT_S - (pico.now_s - slept_s))
    assert not _register(pico, usb.SIE_STATUS) & usb.SUSPENDED and len(raised) == 1
    assert _register(pico, usb.SOF_RD) == frame and pico.usb.take() == b"OK"
    pico.usb.wake()
    *fitted, waited = _came(pico)
    assert fitted == [[True, 64, 0]] * 4
    assert waited[:2] == [True, 64]  # POLLOUT says yes all the same
    asleep_ms = SLEPT_S * 1e3
    assert asleep_ms - 15 <= waited[2] < asleep_ms + usb.RESUME_NS * 1e-6  # it began 10 ms late
    assert (_register(pico, usb.SOF_RD) - frame) & usb.FRAMES > 0


def _note_suspend(pico: ChipMachine, raised: list[float]) -> None:
    usb_ctrl = pico.mcu.usb_ctrl
    if usb_ctrl.int_status & 1 << 14 and usb_ctrl._sie_status & usb.SUSPENDED:
        raised.append(pico.now_s)


def test_the_cable_pulled_and_put_in_again(pico: ChipMachine) -> None:
    connections = pico.usb.connections
    pico.usb.unplug()
    pico.run(0.02)
    assert not pico.mcu.gpio[usb.VBUS_PIN].input_value and not pico.usb.connected
    frame = _register(pico, usb.SOF_RD)
    pico.usb.plug_in()
    pico.run(0.005)
    assert _register(pico, usb.SOF_RD) == frame  # no start of frame before the reset, which takes 10 ms
    assert pico.run(0.5, lambda: pico.usb.connections == connections + 1)
    assert pico.execute("print(6 * 7)") == "42\n"
    assert _register(pico, usb.SOF_RD) != frame


def test_a_request_waits_for_the_end_of_the_read_before_it(pico: ChipMachine) -> None:
    """USB 2.0, 8.5.3: what was read is acknowledged by an empty packet. Without it the firmware's end of a
    read meets the next request, and its USB stack stops with "ep 00 was already available"."""
    order: list[str] = []
    usb_port, connections = pico.usb, pico.usb.connections
    put, request = usb_port._buffers.put, usb_port._send_setup

    def noting_put(endpoint: int, packet: bytes) -> None:
        if endpoint == 0:
            order.append(f"status {len(packet)}")
        put(endpoint, packet)

    usb_port._buffers.put = noting_put  # type: ignore[method-assign]
    usb_port._send_setup = lambda setup: (
        order.append("read" if setup[0] & usb.TO_HOST else "write"),
        request(setup),
    )
    pico.usb.unplug()
    pico.run(0.02)
    pico.usb.plug_in()
    assert pico.run(0.5, lambda: usb_port.connections == connections + 1)
    usb_port._buffers.put, usb_port._send_setup = put, request  # type: ignore[method-assign]
    assert order == ["write", "read", "status 0", "read", "status 0", "write", "write"]

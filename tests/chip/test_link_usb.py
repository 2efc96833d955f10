"""The link over USB never waits for the laptop, and its packets are whole: the firmware's part of it alone.

A boot without the bench takes 17 emulated ms; the whole file takes about 30 CPU s.
"""

from __future__ import annotations

import ast
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from strokebench.sim.chip.machine import ChipMachine
from strokefw.link import wire

pytestmark = pytest.mark.chip
FRAME = wire.frame(0x61, 7, bytes(range(256)) * 2)
PROGRAM = f"""
import micropython, time
from strokefw.pico.port import open_link
link = open_link()
frame = {FRAME!r}
def pump(ms):
    # offers the frame again and again, as the main loop does; longest call in us, frames taken whole
    end = time.ticks_add(time.ticks_ms(), ms)
    longest = whole = at = 0
    while at or time.ticks_diff(end, time.ticks_ms()) > 0:
        began = time.ticks_us()
        at += link.write(memoryview(frame)[at:], len(frame) - at)
        longest = max(longest, time.ticks_diff(time.ticks_us(), began))
        if at == len(frame):
            at = 0
            whole += 1
        elif time.ticks_diff(end, time.ticks_ms()) < -ms:
            break
    return longest, whole
def hear(ms):
    # what the bench hears; a wish for the prompt is forgotten, as while it drives
    end = time.ticks_add(time.ticks_ms(), ms)
    buf = bytearray(256)
    heard = b""
    wishes = 0
    while time.ticks_diff(end, time.ticks_ms()) > 0:
        n = link.read(buf)
        heard += buf[:n]
        wishes += link.repl_wanted
        link.repl_wanted = False
    return wishes, heard
def do(what, ms):
    global came
    micropython.kbd_intr(-1)
    came = what(ms)
    micropython.kbd_intr(3)
"""
NO_WAIT_US = 10_000
"""Nine packets take under 2 ms, and what the USB stack does when a cable is put in again 6 (measured here);
where it waits, it does so for 500."""
TALK = b"\x05\x01\x02\x03\x04\x00"


@pytest.fixture(scope="module")
def pico(start_chip: Callable[[], ChipMachine]) -> Iterator[ChipMachine]:
    """The firmware's link at MicroPython's prompt."""
    machine = start_chip()
    machine.execute(PROGRAM)
    _do(machine, "pump", 5, lambda: None)  # the first write also fills up what the prompt left in the buffer
    yield machine


def _do(pico: ChipMachine, what: str, ms: int, meanwhile: Callable[[], None]) -> bytes:
    """Let ``what`` run for so long, and ``meanwhile`` 20 ms after it began; return what the laptop got."""
    pico.usb.take()
    pico.usb.send(f"do({what}, {ms})\n".encode() + b"\x04")
    assert pico.run(0.5, lambda: b"OK" in pico.usb.inbox)
    pico.run(0.02)
    meanwhile()
    pico.run(3 * ms / 1000, lambda: pico.usb.inbox.endswith(b"\x04\x04>"))
    return pico.usb.take()


def _came(pico: ChipMachine) -> tuple[Any, ...]:
    found = ast.literal_eval(pico.execute("print(came)"))
    assert isinstance(found, tuple)
    return found


def test_every_frame_arrives_in_whole_packets(pico: ChipMachine) -> None:
    packets: list[int] = []
    hand_on = pico.usb._cdc.on_serial_data

    def take(data: bytes) -> None:
        packets.append(len(data))
        hand_on(data)

    pico.usb._cdc.on_serial_data = take
    got = _do(pico, "pump", 60, lambda: None)
    pico.usb._cdc.on_serial_data = hand_on
    longest, whole = _came(pico)
    assert whole > 5 and longest < NO_WAIT_US
    assert got.count(FRAME) == whole
    began = packets.index(64)
    assert set(packets[began : began + 9 * whole]) == {64}
    print("frames of nine packets in 60 ms", whole, "longest write us", longest)


@pytest.mark.parametrize("state", ["stop_reading", "sleep", "unplug"])
def test_no_write_waits_for_a_laptop_that(pico: ChipMachine, state: str) -> None:
    """... does not read, sleeps, or is no longer there."""
    usb = pico.usb
    taken: list[int] = []

    def meanwhile() -> None:
        getattr(usb, state)()
        taken.append(len(usb.inbox))
        pico.run(0.2)
        assert len(usb.inbox) <= taken[0] + 64
        {"stop_reading": usb.go_on_reading, "sleep": usb.wake, "unplug": usb.plug_in}[state]()

    _do(pico, "pump", 150, meanwhile)
    pico.run(0.5)
    usb.take()
    longest, whole = _came(pico)
    assert 0 < longest < NO_WAIT_US
    print(state, "longest write us", longest, "frames", whole)


def test_return_and_ctrl_c_do_not_cost_the_next_frame(pico: ChipMachine) -> None:
    _do(pico, "hear", 120, lambda: pico.usb.send(TALK + b"\r\x03" + TALK))
    assert _came(pico) == (1, TALK + TALK)


def test_a_frame_may_begin_with_a_return(pico: ChipMachine) -> None:
    frame = b"\r\x01" + TALK
    _do(pico, "hear", 120, lambda: pico.usb.send(frame + frame))
    assert _came(pico) == (0, frame + frame)


def test_what_is_left_half_said_does_not_spoil_the_next_frame(pico: ChipMachine) -> None:
    def meanwhile() -> None:
        pico.usb.send(TALK[:3])
        pico.run(0.25)
        pico.usb.send(TALK)

    _do(pico, "hear", 400, meanwhile)
    assert _came(pico) == (0, TALK[:3] + b"\0" + TALK)

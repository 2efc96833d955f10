"""A pyserial port whose other end is the emulated chip: waiting on it lets emulated time pass.

In place of a pseudo terminal, because host programs wait in wall time, and the emulated chip is 20 to 60
times too slow for them. :func:`plug_in` also gives them the chip's clock.
"""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest
from strokebench.sim.chip.machine import ChipMachine

FOREVER_S = 30.0


class EmulatedSerial:
    """What mpremote and :mod:`strokebench.link.serial` use of ``serial.Serial``."""

    def __init__(self, machine: ChipMachine) -> None:
        self.machine = machine
        self.timeout: float | None = None
        self.baudrate = self.write_timeout = self.exclusive = self.dtr = self.rts = None
        self._open = False

    def open(self) -> None:
        self._open = True

    def isOpen(self) -> bool:
        return self._open

    def close(self) -> None:
        self._open = False

    @property
    def in_waiting(self) -> int:
        return len(self.machine.usb.inbox)

    def inWaiting(self) -> int:
        return self.in_waiting

    def read(self, size: int = 1) -> bytes:
        assert self._open
        inbox = self.machine.usb.inbox
        wait_s = FOREVER_S if self.timeout is None else self.timeout
        came = self.machine.run(wait_s, lambda: len(inbox) >= size)
        assert came or self.timeout is not None, f"waited {FOREVER_S} emulated s for {size} bytes"
        data = bytes(inbox[:size])
        del inbox[:size]
        return data

    def write(self, data: bytes) -> int:
        assert self._open
        self.machine.usb.send(data)
        return len(data)


def plug_in(monkeypatch: pytest.MonkeyPatch, machine: ChipMachine) -> None:
    """Let every name of a serial port open ``machine``, and those who wait on it wait in its time."""

    def opened(_name: str, timeout: float | None = None, **_options: Any) -> EmulatedSerial:
        port = EmulatedSerial(machine)
        port.timeout = timeout
        return port

    clock = SimpleNamespace(
        monotonic=lambda: machine.now_s, sleep=lambda seconds: machine.run(seconds, lambda: machine.usb.inbox)
    )
    monkeypatch.setattr("serial.serial_for_url", opened)
    monkeypatch.setattr("strokebench.link.serial.time", clock)
    monkeypatch.setattr("mpremote.transport_serial.time", clock)

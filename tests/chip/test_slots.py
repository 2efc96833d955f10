"""Calibration slots: the power cut at every flash operation of a store leaves the old or the new record."""

from __future__ import annotations

from typing import Any

import pytest
from strokebench.sim.chip.machine import ChipMachine
from strokebench.sim.engine import chip

pytestmark = pytest.mark.chip
OLD, NEW = b"old record" * 6, b"NEW RECORD" * 6
OPEN = "from strokefw.slots import Slots\ns = Slots('/slots')\n"


class Cut(Exception):
    """The power is gone."""


class FlashCounter:
    """Counts erases and programs, and cuts the power at one of them, half done or not begun."""

    def __init__(self, machine: ChipMachine, cut_at: int = -1, half: bool = False) -> None:
        self.ssi: Any = machine.mcu.ssi
        self.apply = self.ssi._apply_command
        self.flash = machine.mcu.flash
        self.ssi._apply_command = self._count
        self.count, self.cut_at, self.half = 0, cut_at, half

    def _count(self) -> None:
        buffer = self.ssi._tx_buffer
        if not buffer or buffer[0] not in (0x20, 0xD8, 0x02):
            self.apply()
            return
        if self.count == self.cut_at:
            if self.half:
                before = bytes(self.flash)
                self.apply()
                start = (buffer[1] << 16 | buffer[2] << 8 | buffer[3]) & ~0xFF if len(buffer) >= 4 else 0
                middle = start + (2048 if buffer[0] == 0x20 else 128)
                self.flash[middle : middle + 65536] = before[middle : middle + 65536]
            raise Cut
        self.count += 1
        self.apply()


def _boot(filesystem: bytes) -> ChipMachine:
    machine = ChipMachine(chip.find_image(), filesystem)
    machine.wait_for_usb()
    return machine


def test_power_cut_at_every_flash_operation(filesystem: bytes) -> None:
    machine = _boot(filesystem)
    machine.execute(f"{OPEN}s.store(0, {OLD!r})")
    before = machine.read_filesystem()
    counter = FlashCounter(machine)
    machine.execute(f"s.store(0, {NEW!r})")
    total = counter.count
    assert total >= 4
    seen = set()
    for cut_at in range(total):
        for half in (False, True):
            machine = _boot(before)
            FlashCounter(machine, cut_at, half)
            with pytest.raises(Cut):
                machine.execute(f"{OPEN}s.store(0, {NEW!r})")
            after = _boot(machine.read_filesystem())
            found = after.execute(f"{OPEN}print(s.load(0))").strip()
            assert found in (repr(OLD), repr(NEW)), (cut_at, half)
            seen.add(found)
    assert seen == {repr(OLD), repr(NEW)}
    print("flash operations", total)

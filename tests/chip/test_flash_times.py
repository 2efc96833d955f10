"""Erasing and programming take the flash chip's time, with interrupts off; the watchdog does not wait for it.

Times: W25Q16JV datasheet (see strokebench.sim.chip.flash). The file takes about 15 CPU s.
"""

from __future__ import annotations

from collections.abc import Callable

import pytest
from strokebench.sim.chip import flash
from strokebench.sim.chip.machine import ChipMachine, ChipUnavailable
from strokebench.sim.chip.world import ChipWorld
from strokebench.sim.engine import chip

pytestmark = pytest.mark.chip
UNUSED = 200
"""A block of the file system's region that no file of these tests reaches."""
TIMED = f"""
import rp2, time
at = rp2.Flash()
def timed(call, *how):
    began = time.ticks_us()
    call(*how)
    return time.ticks_diff(time.ticks_us(), began)
erase = lambda: timed(at.ioctl, 6, {UNUSED})
program = lambda: timed(at.writeblocks, {UNUSED}, bytes(256), 0)
"""
OWN_US = 500
"""What the boot ROM and MicroPython need themselves, at most."""
CONVERSIONS_MS = 40
"""The board's converter program: one every 25 us."""
POWER_ON, WATCHDOG = 1, 3
"""MicroPython's machine.PWRON_RESET and machine.WDT_RESET."""


STRIKES = """
from machine import Timer
came = [time.ticks_us(), 0]
def strike(_t):
    now = time.ticks_us()
    came[1] = max(came[1], time.ticks_diff(now, came[0]))
    came[0] = now
timer = Timer(period=1, hard=True, callback=strike)
time.sleep_ms(2)
came[1] = 0
erase()
timer.deinit()
print(came[1], program())
"""


def _held(machine: ChipMachine) -> None:
    """Interrupts wait with the firmware, so a hard timer of 1 ms is silent so long."""
    times = machine.flash.times
    machine.execute(TIMED)
    silent_us, program_us = map(int, machine.execute(STRIKES).split())
    assert 0 <= silent_us - times.sector_erase_ms * 1000 < 1000 + OWN_US
    assert 0 <= program_us - times.program_ms * 1000 < OWN_US


def test_an_erase_holds_the_firmware_and_not_the_converter(world: ChipWorld) -> None:
    """The converter's PIO program and its DMA go on meanwhile."""
    machine, conversions, began_s = world.machine, _counted(world), world.machine.now_s
    _held(machine)
    passed_ms = (machine.now_s - began_s) * 1000
    assert passed_ms > flash.TYPICAL.sector_erase_ms
    assert conversions() == pytest.approx(passed_ms * CONVERSIONS_MS, rel=0.05)


def _counted(world: ChipWorld) -> Callable[[], int]:
    count = [0]
    inner = world.external._code

    def code(channel: int) -> int:
        count[0] += 1
        return inner(channel)

    world.external._code = code
    return lambda: count[0]


def test_the_watchdog_resets_in_the_middle_of_an_erase_and_its_reason_stays(filesystem: bytes) -> None:
    """WATCHDOG.REASON outlasts a soft restart (RP2040 datasheet 4.7.6: it tells the last reset), and is
    clear after a power-up."""
    try:
        machine = ChipMachine(chip.find_image(), filesystem, flash.WORST)
    except ChipUnavailable as why:
        pytest.skip(f"emulated chip: {why}")
    machine.wait_for_usb()
    assert _cause(machine) == POWER_ON
    _held(machine)
    machine.usb.send(b"import machine\nmachine.WDT(timeout=150)\nerase()\x04")
    began_s = machine.now_s
    assert machine.run(0.5, lambda: machine.usb.connections == 2)
    assert machine.now_s - began_s < 0.25
    assert _cause(machine) == WATCHDOG
    machine.usb.send(b"\x02\x04")
    # while it restarts, Ctrl-C would end boot.py and not clear the line: the prompt is waited for
    assert machine.run(
        1.0, lambda: b"soft reboot" in machine.usb.inbox and machine.usb.inbox.endswith(b">>> ")
    )
    assert _cause(machine) == WATCHDOG
    machine.power_cycle()
    machine.wait_for_usb()
    assert _cause(machine) == POWER_ON


def _cause(machine: ChipMachine) -> int:
    return int(machine.execute("import machine\nprint(machine.reset_cause())"))

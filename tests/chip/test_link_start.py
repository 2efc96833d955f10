"""How a start begins: why the chip was reset, on which chip, how deep the stack has been. About 25 CPU s.

All on one chip, one after the other, with the board's converters stopped.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import pairwise

import pytest
from strokebench.bench.spec import SimSpec
from strokebench.sim.board.board import SimBoard
from strokebench.sim.chip.machine import ChipMachine
from strokebench.sim.chip.world import ChipWorld
from strokefw import faults, state
from strokefw.pico import pins

from tests.chip.conftest import STILL

pytestmark = pytest.mark.chip
STACK_FULL = "def f(): f()\ntry:\n  f()\nexcept RuntimeError:\n  pass\n"
CAUSE = f"from strokefw.pico.board import Board\nb = Board()\n{STILL}\nprint(b.reset_cause())\n"
HANG = b"import machine\nmachine.WDT(timeout=20)\nwhile True: pass\n\x04"
SYSINFO, RP2350 = 0x40000, 0x20004927
"""Key of the emulator's table; an RP2350's CHIP_ID: part 4 (pico-sdk, rp2350, hardware/regs/sysinfo.h)."""
LIVE = ("A_HIGH", "A_LOW", "B_HIGH", "B_LOW", "BRIDGE_ENABLE", "MAIN_SWITCH", "PRECHARGE")


@pytest.fixture(scope="module")
def pico(start_chip: Callable[[], ChipMachine]) -> Iterator[ChipMachine]:
    machine = start_chip()
    ChipWorld(machine, SimBoard(SimSpec(), ideal=True))
    assert _cause(machine) == state.RESET_POWER_ON
    yield machine


def _cause(pico: ChipMachine) -> int:
    return int(pico.execute(CAUSE))


def _again(pico: ChipMachine) -> None:
    pico.usb.send(b"\x02\x04")  # to the friendly prompt, then Ctrl-D
    assert pico.run(1, lambda: pico.usb.inbox.endswith(b">>> "))


def test_the_deepest_stack_is_seen_and_micropython_stops_before_its_end(pico: ChipMachine) -> None:
    shallow = int(pico.execute("print(b.stack_max())"))
    pico.execute(STACK_FULL)
    deep = int(pico.execute("print(b.stack_max())"))
    print("bytes of stack at the prompt", shallow, "where MicroPython stops", deep)
    # 7936 is all that is painted, so the rest of 256 bytes is not seen; that it was enough shows in the chip
    # going on after an exception
    assert 1000 < shallow < 5000 and deep > 6000


def test_a_watchdog_reset_is_told_once_and_not_again_after_ctrl_d(pico: ChipMachine) -> None:
    before = pico.usb.connections
    pico.usb.send(b"\r\x03\x01")
    pico.run(0.05)
    pico.usb.send(HANG)
    assert pico.run(2, lambda: pico.usb.connections > before)
    pico.run(0.05)
    assert _cause(pico) == state.RESET_WATCHDOG
    pico.execute("b.close()")
    _again(pico)
    assert pico.mcu.watchdog.read_uint32(8) == 1  # the chip's own word for it is still there
    assert _cause(pico) == state.RESET_SOFT


def test_on_an_rp2350_nothing_starts_but_the_lamp_and_a_sentence(pico: ChipMachine) -> None:
    _again(pico)
    pico.mcu.peripherals[SYSINFO].read_uint32 = lambda offset: RP2350 if offset == 0 else 0
    rose: list[str] = []
    for net in LIVE:
        pico.mcu.gpio[pins.gpio(net)].add_listener(lambda value, _: rose.append("one") if value else None)
    edges: list[tuple[bool, float]] = []
    pico.mcu.gpio[pins.gpio("LED")].add_listener(lambda value, _: edges.append((value == 1, pico.now_s)))
    pico.usb.send(b"\r\x03\x01")
    pico.run(0.05)
    pico.usb.send(b"import strokefw.pico.main\n\x04")
    pico.run(2.2)
    said = b"strokebench does not start: its firmware is for the RP2040, and this chip says it is part 4."
    assert pico.usb.inbox.count(said) == 2
    lit_ms = [1000 * (off - on) for (high, on), (_, off) in pairwise(edges) if high]
    # the first of the tens of 94; that all can be counted is shown by faults.lamp's own test
    assert len(lit_ms) >= 2 and all(abs(ms - faults.LONG_MS) < 40 for ms in lit_ms)
    assert not rose

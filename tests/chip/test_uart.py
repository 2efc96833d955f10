"""The serial link on the UART pins in place of USB: chosen by an empty file /uart."""

from __future__ import annotations

import pytest
from strokebench.bench.bench import Bench
from strokebench.bench.spec import SimSpec
from strokebench.image import files as chip_files
from strokebench.sim.board.board import SimBoard
from strokebench.sim.chip.machine import ChipMachine, ChipUnavailable
from strokebench.sim.chip.world import ChipWorld
from strokebench.sim.engine import chip
from strokefw.pico import pins
from tools.chip.drive import drive

from tests.chip.emulated_uart import UartPort

pytestmark = [pytest.mark.chip, pytest.mark.long]
BAUD = 921_600
UART_FUNCTION = 2  # RP2040 datasheet, table of GPIO functions
RUN_S = 0.4


def test_greets_reports_and_runs_over_the_uart(monkeypatch: pytest.MonkeyPatch) -> None:
    """One start, one self-test, half a second of driving, then Ctrl-C on USB. About 80 CPU s."""
    try:
        files = chip_files.precompiled(chip_files.firmware_sources())
        machine = ChipMachine(chip.find_image(), chip_files.filesystem({**files, "uart": b""}))
    except ChipUnavailable as why:
        pytest.skip(f"emulated chip: {why}")
    machine.wait_for_usb()
    world, port = ChipWorld(machine, SimBoard(SimSpec("throttle-body"))), UartPort(machine, BAUD)
    for rail in (1, 0):
        assert machine.run(4, lambda rail=rail: world.board.bridge.rail == rail)  # type: ignore[misc]

    for net in ("UART_TX", "UART_RX"):
        assert machine.mcu.gpio[pins.gpio(net)].function_select == UART_FUNCTION
    assert port.uart.baud_rate == pytest.approx(BAUD, rel=0.005)
    assert not machine.usb.inbox  # nothing of ours goes to USB

    bench = Bench(port, "a UART", "chip")
    assert bench.status().state == "ready"
    found = drive(bench, RUN_S)
    assert len(found.samples) >= RUN_S * 1000 and found.lost_rows == found.gaps == 0
    assert found.after.state == "armed" and found.after.counters["bad_frames"] == 0
    assert world.board.plant.current_max_a > 0 or found.samples["current_a"].max() > 0.1

    machine.usb.send(b"\x03")
    assert machine.run(1, lambda: machine.usb.inbox.endswith(b">>> "))
    machine.run(0.01)
    assert not any(clock.high for clock in world.clocks.values())

"""Flashing an emulated Pico as a person would: the command, mpremote, a device name, the chip's own files."""

from __future__ import annotations

import threading
from collections.abc import Iterator

import pytest
from strokebench import flash
from strokebench.sim import chip, chip_files
from strokebench.sim.chip_machine import ChipMachine, ChipUnavailable
from strokebench.sim.serve import PtyLine

pytestmark = [pytest.mark.chip, pytest.mark.long]


@pytest.fixture
def pico() -> Iterator[tuple[str, ChipMachine]]:
    """Device name of an emulated Pico that has MicroPython and an old file, and the Pico."""
    pytest.importorskip("mpremote")
    try:
        old = {"strokefw/gone.mpy": b"from an older firmware", "main.py": b""}
        machine = ChipMachine(chip.find_image(), chip_files.filesystem(old))
        machine.wait_for_usb()
    except ChipUnavailable as why:
        pytest.skip(f"emulated chip: {why}")
    line, ended = PtyLine(), threading.Event()

    def live() -> None:
        while not ended.is_set():
            if heard := line.receive(0):
                machine.usb.send(heard)
            machine.run(1e-3)
            if said := machine.usb.take():
                line.send(bytes(said))

    thread = threading.Thread(target=live)
    thread.start()
    yield line.name, machine
    ended.set()
    thread.join()
    line.close()


def test_a_bare_pico_becomes_a_bench_and_stays_as_it_is(
    pico: tuple[str, ChipMachine], monkeypatch: pytest.MonkeyPatch
) -> None:
    name, _machine = pico
    monkeypatch.setattr(flash, "refuse_while_armed", lambda port: None)  # nobody is there to ask yet
    said: list[str] = []
    done = flash.flash(name, say=said.append)
    files = chip_files.precompiled(chip_files.firmware_sources())
    assert set(done.written) == set(files) and done.removed == ["strokefw/gone.mpy"]
    assert done.micropython in said[0]

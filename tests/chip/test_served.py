"""``strokebench sim --chip IMAGE --pty``: three real processes, the emulated chip behind a device name."""

from __future__ import annotations

import contextlib
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from strokebench.book.book import Book
from strokebench.link.serial import SLOWDOWN_VARIABLE
from strokebench.sim.chip.machine import ChipUnavailable
from strokebench.sim.engine import chip

pytestmark = [
    pytest.mark.chip,
    pytest.mark.long,
    pytest.mark.skipif(sys.platform == "win32", reason="needs a pseudo terminal"),
]
ANSWER_S = 900
STROKEBENCH = [sys.executable, "-m", "strokebench"]


@contextlib.contextmanager
def served(image: Path) -> Iterator[str]:
    """The name of the device at which a bench on the emulated chip can be reached."""
    command = [*STROKEBENCH, "sim", "wiring", "--chip", str(image), "--pty"]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    assert process.stdout is not None and process.stderr is not None
    try:
        note = process.stderr.readline()
        assert SLOWDOWN_VARIABLE in note
        yield process.stdout.readline().strip()
    finally:
        process.terminate()
        process.communicate(timeout=60)
    assert process.returncode == 0


def _ask(*arguments: str) -> subprocess.CompletedProcess[str]:
    environment = {**os.environ, SLOWDOWN_VARIABLE: "60"}
    command = [*STROKEBENCH, *arguments]
    return subprocess.run(
        command, capture_output=True, text=True, env=environment, timeout=ANSWER_S, check=False
    )


def test_it_is_a_bench_like_any_other(tmp_path: Path) -> None:
    """Identity, then a run with a recording, from programs that know nothing of an emulator."""
    try:
        image = chip.find_image()
    except ChipUnavailable as why:
        pytest.skip(f"emulated chip: {why}")
    book = tmp_path / "chip.book"
    with served(image) as name:
        told = _ask("info", "--port", name)
        assert told.returncode == 0, told.stderr
        assert "reference bench" in told.stdout
        ran = _ask("run", "wiring", "--port", name, "--book", str(book))
    print(told.stdout, ran.stdout, ran.stderr)
    assert ran.returncode == 0, ran.stderr
    with Book(book) as kept:
        recording = kept.load(1)
        assert recording.info["engine"] == "serial"
        assert len(recording.samples) > 300

"""A screen that freezes or goes away does not touch the run: it is recorded to its end, or ramped down."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from strokebench.book.book import Book

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="needs a POSIX terminal (pty)")

RUN = (sys.executable, "-m", "strokebench", "run", "throttle-body", "--sim", "--no-report")


def test_a_frozen_terminal_does_not_hold_the_run_up(tmp_path: Path) -> None:
    """Nobody reads the terminal behind standard error, as after Ctrl-S: its buffer fills, writing blocks."""
    master, slave = os.openpty()
    environment = {**os.environ, "TERM": "xterm", "COLUMNS": "500"}
    fill = b"x" * 1024
    os.set_blocking(slave, False)
    with pytest.raises(BlockingIOError):
        while True:
            os.write(slave, fill)  # so full that the first line drawn must wait
    os.set_blocking(slave, True)
    book = tmp_path / "a.book"
    command = [*RUN, "--book", str(book)]
    with open(tmp_path / "out.txt", "wb") as out:
        done = subprocess.run(command, stdout=out, stderr=slave, env=environment, timeout=120)
    os.close(master)
    os.close(slave)
    assert done.returncode == 0
    with Book(book, read_only=True) as written:
        assert written.summary(1).outcome == "done"
        assert written.summary(1).verdict == "pass"
    assert b"PASS" in (tmp_path / "out.txt").read_bytes()


@pytest.mark.parametrize("number", [signal.SIGHUP, signal.SIGTERM, signal.SIGINT], ids=["hup", "term", "int"])
def test_a_lost_terminal_ramps_down_and_keeps(tmp_path: Path, number: signal.Signals) -> None:
    book = tmp_path / "a.book"
    command = [*RUN, "--book", str(book)]
    running = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    deadline_s = time.monotonic() + 60
    while time.monotonic() < deadline_s and not _rows(book):
        time.sleep(0.02)
    running.send_signal(number)
    assert running.wait(60) == 130
    with Book(book, read_only=True) as written:
        assert written.summary(1).outcome == "interrupted"
        rows = written.load(1).samples
        assert written.problems() == []
    assert len(rows) > 0
    assert abs(rows["drive"][-1]) < 1e-9  # ramped down, and recorded to the end


def _rows(book: Path) -> int:
    if not book.exists():
        return 0
    try:
        with Book(book, read_only=True) as written:
            return sum(run.samples for run in written.runs())
    except Exception:  # being made
        return 0

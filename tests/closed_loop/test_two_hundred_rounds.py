"""Two hundred rounds over real processes and a real serial line: nothing that was committed is lost.

Each round runs a procedure against a bench served on a pty, and ends it in one of eight ways at some moment.
STROKEBENCH_FIRST and STROKEBENCH_ROUNDS take a part of them; each round is the same in any part. With
``pytest -s`` each prints how it went.
"""

from __future__ import annotations

import contextlib
import os
import random
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from strokebench.bench.bench import open_bench
from strokebench.book.book import Book, is_book
from strokebench.errors import BookError, StrokebenchError
from strokefw import faults

from tests.helpers.process import environment, short_profile, simulated_device

pytestmark = [pytest.mark.long, pytest.mark.skipif(sys.platform == "win32", reason="Unix signals and ptys")]

ROUNDS = int(os.environ.get("STROKEBENCH_ROUNDS", "200"))
WAYS = ("int", "term", "hup", "kill", "stop", "frozen terminal", "line closed", "full disk")
FIRST = int(os.environ.get("STROKEBENCH_FIRST", "0"))
OFF_S = 3.0
"""So long after the end the bridge may still be on: the heartbeat limit and the ramp, on a busy computer."""


def frozen_terminal() -> int:
    """Return a terminal whose buffer is full and that nobody reads."""
    _master, slave = os.openpty()
    os.set_blocking(slave, False)
    with contextlib.suppress(BlockingIOError):
        while True:
            os.write(slave, b"x" * 512)
    os.set_blocking(slave, True)
    return slave


@contextlib.contextmanager
def small_disk(folder: Path) -> Iterator[Path]:
    """Give a folder on a file system of 1 MB."""
    folder.mkdir()
    subprocess.run(["mount", "-t", "tmpfs", "-o", "size=1m", "tmpfs", str(folder)], check=True)
    try:
        yield folder
    finally:
        subprocess.run(["umount", "-l", str(folder)], check=True)


def one_round(folder: Path, number: int, way: str, dice: random.Random) -> None:
    if way == "full disk":
        with small_disk(folder / f"disk-{number}") as disk:
            drive(folder, disk / f"{number}.book", way, dice)
    else:
        drive(folder, folder / f"{number}.book", way, dice)


def drive(folder: Path, book: Path, way: str, dice: random.Random) -> None:
    """Run a procedure, end it, and look at what is left."""
    profile = short_profile(folder, 2.0 if way == "frozen terminal" else 60.0)
    with simulated_device(folder, "throttle-body") as (port, device):
        command = [sys.executable, "-m", "strokebench", "run", str(profile), "--port", port, "--no-report"]
        command += ["--book", str(book), "--acknowledge"]
        screen = frozen_terminal() if way == "frozen terminal" else subprocess.DEVNULL
        run = subprocess.Popen(
            command,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=screen,
            env=environment(),
            cwd=folder,
        )
        seen = wait_for_rows(book, dice.uniform(0.2, 2.0))
        end(way, run, device, book)
        if way == "line closed":
            assert run.wait(30) == 4
        else:
            off_in_time(port, way)
    check(book, seen, way)


def wait_for_rows(book: Path, more_s: float) -> int:
    """Wait until rows are committed, and ``more_s`` longer; return how many there are then."""
    deadline_s = time.monotonic() + 60
    while time.monotonic() < deadline_s and not committed(book):
        time.sleep(0.05)
    time.sleep(more_s)
    return committed(book)


def committed(book: Path) -> int:
    if not is_book(book):
        return 0
    with contextlib.suppress(BookError), Book(book, read_only=True) as read:
        return sum(run.samples for run in read.runs())
    return 0


def end(way: str, run: subprocess.Popen[bytes], device: subprocess.Popen[str], book: Path) -> None:
    """End the round; afterwards the port is free, or gone."""
    if way == "line closed":
        device.kill()
        return
    if way == "full disk":
        filler = book.with_name("filler")
        with contextlib.suppress(OSError), filler.open("wb", buffering=0) as file:
            while True:
                file.write(bytes(1024))
        assert run.wait(60) == 6
        assert committed(book)  # readable as it is
        filler.unlink()
        return
    if way == "frozen terminal":
        assert run.wait(60) in (0, 1, 3)
        return
    signals = {"int": signal.SIGINT, "term": signal.SIGTERM, "hup": signal.SIGHUP, "kill": signal.SIGKILL}
    if way == "stop":
        run.send_signal(signal.SIGSTOP)
        time.sleep(OFF_S)  # the bench has to notice by itself
        run.kill()
    else:
        run.send_signal(signals[way])
    run.wait(30)


def off_in_time(port: str, way: str) -> None:
    """Ask the bench itself. Who is killed says nothing to it, so there its own fault has to be in its log."""
    began_s = time.monotonic()
    if way == "kill":
        time.sleep(1.0)  # twice the heartbeat limit: to be asked earlier would be a sign of life
    while True:
        try:
            with open_bench(port) as bench:
                status, events = bench.status(), bench.events()
        except StrokebenchError:
            status = None
        if status is not None and status.state not in ("driving", "stopping"):
            break
        assert time.monotonic() < began_s + OFF_S, status
        time.sleep(0.1)
    print(f" bench {status.state} {time.monotonic() - began_s:.1f} s after, fault {status.fault}", end="")
    if way in ("kill", "stop"):
        assert faults.HEARTBEAT_LOST in [event.code for event in events]


def check(book: Path, seen: int, way: str) -> None:
    with Book(book, read_only=True) as read:
        (run,) = read.runs()
        assert run.samples >= seen > 0
        assert read.problems() == []
        rows = read.load(1).samples
        print(f", {seen} rows seen, {len(rows)} kept, {run.outcome}", end="")
        assert len(rows) == run.samples
        if way in ("int", "term", "hup"):
            assert run.outcome == "interrupted"
            assert rows["drive"][-1] == 0


@pytest.mark.parametrize("number", range(FIRST, FIRST + ROUNDS))
def test_a_round(number: int, tmp_path: Path) -> None:
    way = WAYS[number % len(WAYS)]
    print(f"\nround {number}, {way}:", end="")
    one_round(tmp_path, number, way, random.Random(f"rounds {number}"))

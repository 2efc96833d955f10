"""Ctrl-C, SIGTERM, SIGSTOP and kill -9 at any moment: the part is off and what was measured is there."""

from __future__ import annotations

import contextlib
import os
import random
import signal
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest
from strokebench.bench.bench import open_bench
from strokebench.book.book import Book, is_book
from strokebench.data.samples import Samples
from strokebench.errors import BookError
from strokefw import faults, state

from tests.helpers.process import short_profile, simulated_device, start, strokebench
from tests.helpers.waiting import wait_until
from tests.helpers.witnessed_bench import Witness

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="Unix signals")

OFF = (state.ARMED, state.READY)


def interrupted_run(folder: Path, number: int, delay_s: float, signal_: signal.Signals) -> None:
    """Start a long run, send ``signal_`` after ``delay_s``, and check what is left."""
    book_file = folder / f"{number}.book"
    profile = short_profile(folder, 600)  # where the simulation is compiled, 100 s are over in one
    process = start("run", profile, "--sim", "--no-report", "--book", book_file, cwd=folder)
    time.sleep(delay_s)  # a moment is what is tested, wherever the run is by then
    process.send_signal(signal_)
    _out, err = process.communicate(timeout=60)
    # an interpreter that is still starting up answers the signal by itself, in its own words
    starting = "Failed to import the site module" in err
    assert starting or process.returncode in (130, -signal_), err
    if process.returncode == 130:
        assert "Interrupted" in err
        assert "Traceback" not in err
    if not is_book(book_file):
        return
    with Book(book_file, read_only=True) as book:
        for summary in book.runs():
            run = book.load(summary.run_id)
            assert summary.outcome == "interrupted"
            if len(run.samples):  # else it was interrupted before the part moved
                assert run.samples["drive"][-1] == 0
                assert run.samples["state"][-1] in OFF


MOMENTS = [0.25, 0.6, 0.9, 1.5, 2.5]


@pytest.mark.slow
@pytest.mark.parametrize("delay_s", MOMENTS)
def test_ctrl_c_early_and_late(tmp_path: Path, delay_s: float) -> None:
    interrupted_run(tmp_path, 0, delay_s, signal.SIGINT)


BREAKS_AN_IMPORT_OFF = """
import signal, sys
class Interrupts:
    def find_spec(self, name, path=None, target=None):
        if name == "numpy.linalg":
            signal.raise_signal(signal.SIGINT)
sys.meta_path.insert(0, Interrupts())
from strokebench.cli import main
sys.exit(main(sys.argv[1:]))
"""
"""By then numpy's compiled part is loaded, and numpy cannot be imported a second time."""


@pytest.mark.parametrize("more", [(), ("--json",)])
def test_ctrl_c_in_the_middle_of_an_import(tmp_path: Path, more: tuple[str, ...]) -> None:
    words = ("run", short_profile(tmp_path, 1), "--sim", "--book", tmp_path / "t.book", *more)
    done = subprocess.run(
        [sys.executable, "-c", BREAKS_AN_IMPORT_OFF, *map(str, words)],
        capture_output=True, text=True, cwd=tmp_path,
    )  # fmt: skip
    assert done.returncode == 130, done.stderr
    assert "Interrupted" in (done.stdout if more else done.stderr)
    assert "Traceback" not in done.stderr


@pytest.mark.slow
def test_a_polite_kill_is_like_ctrl_c(tmp_path: Path) -> None:
    interrupted_run(tmp_path, 0, 2.0, signal.SIGTERM)


@pytest.mark.long
def test_ctrl_c_in_100_random_moments(tmp_path: Path) -> None:
    dice = random.Random(20)
    for number in range(100):
        interrupted_run(tmp_path, number, dice.uniform(0.25, 4.0), signal.SIGINT)


def _recorded(book_file: Path) -> int:
    with contextlib.suppress(BookError), Book(book_file, read_only=True) as book:
        return sum(run.samples for run in book.runs())
    return 0  # not there yet, or just being made


def _whole(book_file: Path, least: int) -> Samples:
    """Return the samples of the book's only run: at least ``least``, no tick missing."""
    with Book(book_file, read_only=True) as book:
        samples = book.load(1).samples
    assert len(samples) >= least
    assert np.allclose(np.diff(samples["time_s"]), 1e-3, atol=1e-9)
    return samples


def test_kill_9_leaves_a_readable_book_and_a_bench_that_stops_by_itself(tmp_path: Path) -> None:
    profile, book_file = short_profile(tmp_path, 60), tmp_path / "t.book"
    with closing(Witness(tmp_path)) as witness:
        name = witness.port
        host = start("run", profile, "--port", name, "--book", book_file, cwd=tmp_path)
        wait_until(lambda: _recorded(book_file) > 500 and witness.driven)
        committed = _recorded(book_file)
        os.kill(host.pid, signal.SIGKILL)
        host.communicate()
        wait_until(lambda: not witness.driven)  # looked at from outside: to ask would be a sign of life
        with open_bench(name) as bench:
            assert (bench.status().fault, bench.status().drive) == (faults.HEARTBEAT_LOST, 0.0)
            told_codes = [event.code for event in bench.events() if event.kind == "fault"]
            assert told_codes == [faults.HEARTBEAT_LOST]
        told = strokebench("info", "--port", name, cwd=tmp_path)
        assert "latched" in told.stdout and "No word from the computer" in told.stdout, told
    _whole(book_file, committed)
    with Book(book_file) as book:
        assert book.runs()[0].outcome == "cut"


@pytest.mark.slow
def test_a_stopped_host_finds_a_bench_that_has_ramped_down(tmp_path: Path) -> None:
    profile, book_file = short_profile(tmp_path, 60), tmp_path / "t.book"
    with simulated_device(tmp_path, "--pty") as (name, _bench):
        host = start("run", profile, "--port", name, "--book", book_file, "--no-report", cwd=tmp_path)
        wait_until(lambda: _recorded(book_file) > 500)
        for _ in range(5):  # on a loaded machine the bench itself may not have lived through the limit yet
            host.send_signal(signal.SIGSTOP)
            time.sleep(2.0)  # a time is what is tested: four times the limit
            host.send_signal(signal.SIGCONT)
            with contextlib.suppress(subprocess.TimeoutExpired):
                host.wait(timeout=10)
                break
        _out, err = host.communicate(timeout=60)
    assert host.returncode == 5, err
    assert "No word from the computer" in err and "Traceback" not in err
    samples = _whole(book_file, 500)
    assert (samples["drive"][-1], samples["fault"][-1]) == (0.0, faults.HEARTBEAT_LOST)
    fall = np.abs(np.diff(samples["drive"])).max()
    assert fall <= 0.02 + 1e-9, "ramped down at the profile's slew limit, not cut"
    with Book(book_file, read_only=True) as book:
        assert book.runs()[0].outcome == "fault"

"""`strokebench stop` reaches what another program drives, through the program that has the port."""

from __future__ import annotations

import contextlib
import os
import sys
import threading
from pathlib import Path

import pytest
from strokebench.bench.bench import Bench, open_bench
from strokebench.bench.spec import SimSpec
from strokebench.book.book import Book
from strokebench.errors import BookError, Stopped
from strokebench.link import holder
from strokebench.parts import load_part

from tests.helpers.process import short_profile, simulated_device, start, strokebench
from tests.helpers.waiting import wait_until

posix = pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals are a Unix thing")


@pytest.fixture(autouse=True)
def own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Keep the notes of these tests to themselves, in their processes too."""
    notes = tmp_path / "notes"
    notes.mkdir()
    monkeypatch.setenv("TMPDIR", str(notes))
    monkeypatch.setattr("tempfile.tempdir", None)


def samples(book_file: Path) -> int:
    with contextlib.suppress(BookError), Book(book_file, read_only=True) as book:
        return sum(run.samples for run in book.runs())
    return 0


@posix
@pytest.mark.slow
def test_a_run_in_another_terminal_is_stopped_and_recorded_so(tmp_path: Path) -> None:
    """It said "the port is in use", while the part went on."""
    book_file, profile = tmp_path / "a.book", short_profile(tmp_path, 600)
    with simulated_device(tmp_path, "throttle-body") as (port, _device):
        run = start("run", profile, "--port", port, "--no-report", "--book", book_file, cwd=tmp_path)
        wait_until(lambda: samples(book_file) > 0, "the run recorded nothing")
        said = strokebench("stop", "--port", port, cwd=tmp_path)
        out, err = run.communicate(timeout=60)
        assert said.returncode == 0 and f"process {run.pid}" in said.stdout, said
        assert run.returncode == 3, err
        assert "Stopped by `strokebench stop`" in err and "INCONCLUSIVE" in out
        with Book(book_file, read_only=True) as book:
            recorded = book.load(1)
        assert recorded.info["outcome"] == "stopped" and recorded.samples["drive"][-1] == 0
        again = strokebench("stop", "--port", port, cwd=tmp_path)  # nobody has the port now
        assert again.returncode == 0 and "Stopped: ready" in again.stdout, again


def asked(port: str) -> int:
    """Ask from another thread, as another program would."""
    answers: list[int] = []
    thread = threading.Thread(target=lambda: answers.append(holder.ask_to_stop(port)))
    thread.start()
    thread.join()
    return answers[0]


def armed(part: str) -> Bench:
    bench = open_bench(sim=SimSpec(part))
    bench.set_limits(load_part(part).limits)
    bench.arm()
    return bench


@pytest.mark.parametrize("deed", ["jog", "run", "arm"])
def test_after_a_stop_request_nothing_more_is_driven(deed: str) -> None:
    with armed("solenoid") as bench:
        bench.hold("some port")
        assert asked("some port") == os.getpid()
        deeds = {
            "jog": lambda: bench.jog(0.1),
            "run": lambda: bench.run(load_part("solenoid").procedure),
            "arm": bench.arm,
        }
        with pytest.raises(Stopped):
            deeds[deed]()
        assert bench.status().state == "ready"


def test_a_run_ends_as_stopped() -> None:
    with armed("solenoid") as bench:
        bench.hold("another port")
        run = bench.run(load_part("solenoid").procedure)
        for number, _chunk in enumerate(run):
            if number == 1:
                asked("another port")
        assert run.outcome == "stopped"


def test_nobody_answers_for_a_holder_that_died(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(holder, "ANSWER_S", 0.2)
    note = holder.note_of("a port")
    assert note is not None
    assert holder.ask_to_stop("a port") == 0
    note.write_text('{"pid": 1, "port": "a port"}', encoding="utf-8")
    assert holder.ask_to_stop("a port") == 0
    assert not note.with_suffix(holder.ASKED).exists()


@pytest.mark.parametrize("text", ["", "[]", "{", '{"pid": "x"}'])
def test_a_damaged_note_is_none(text: str) -> None:
    note = holder.note_of("a port")
    assert note is not None
    note.write_text(text, encoding="utf-8")
    assert holder.ask_to_stop("a port") == 0


@posix
def test_a_folder_that_others_may_write_is_not_trusted() -> None:
    where = holder.folder()
    assert where is not None
    where.chmod(0o777)
    assert holder.folder() is None and holder.note_of("a port") is None
    with open_bench(sim=SimSpec("solenoid")) as bench:
        bench.hold("a port")
        assert asked("a port") == 0
        bench.set_limits(load_part("solenoid").limits)
        bench.arm()  # nobody could ask


@posix
def test_a_link_to_a_device_is_the_device(tmp_path: Path) -> None:
    link = tmp_path / "link"
    link.symlink_to("/dev/null")
    assert holder.note_of(str(link)) == holder.note_of("/dev/null")

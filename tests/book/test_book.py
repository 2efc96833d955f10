"""The job book: exact, in small commits, shared by writers, and plain about what is wrong with a file."""

from __future__ import annotations

import math
import os
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from pytest_mock import MockerFixture
from strokebench.book import schema
from strokebench.book.book import Book, is_book
from strokebench.data.findings import Finding, Verdict
from strokebench.data.run import Burst, Event, Mark
from strokebench.errors import BookError, UsageError

from tests.book.writer import new_run, rows
from tests.helpers.process import environment

PROGRAM = Path(__file__).with_name("writer.py")


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Book]:
    with Book(tmp_path / "t.book") as opened:
        yield opened


def test_what_is_written_comes_back_exactly(book: Book) -> None:
    samples = rows()
    with new_run(book) as writer:
        writer.mark(Mark("rest", 0.0, math.nan, 0, "pause"))
        writer.samples(samples)
        writer.mark(Mark("rest", 0.0, 0.1, 0, "pause"))
        writer.event(Event(0.05, "fault", 37, "Stalled."))
        writer.burst(Burst("current_fine", "A", 5e5, 0.02, np.array([0.1, -2.5]), "burst_ripple"))
        writer.info(lost_rows=3)
    run = book.load(writer.run_id)
    assert run.samples.tobytes() == samples.tobytes()  # NaN included
    assert run.marks == [Mark("rest", 0.0, 0.1, 0, "pause")]
    assert run.events == [Event(0.05, "fault", 37, "Stalled.")]
    assert run.bursts[0].values.tolist() == [0.1, -2.5]
    assert (run.bursts[0].rate_hz, run.bursts[0].label) == (5e5, "burst_ripple")
    assert run.info["engine"] == "test"
    assert run.info["lost_rows"] == 3
    assert run.info["outcome"] == "done"
    assert run.info["customer"] == "C-17"
    assert book.profile(writer.run_id) == {"a": 1}


def test_no_commit_holds_more_than_100_ms(book: Book) -> None:
    with new_run(book) as writer:
        writer.samples(rows(1234))
    connection = sqlite3.connect(book.path)
    spans = connection.execute("SELECT last_s - first_s, count FROM batches ORDER BY number").fetchall()
    connection.close()
    assert sum(count for _span, count in spans) == 1234
    assert max(span for span, _count in spans) < 0.1


def test_findings_keep_every_field(book: Book) -> None:
    finding = Finding(
        "winding", "Winding", 1.5, 0.02, "ohm", 1.0, None, Verdict.FAIL, "why", (1.0, 2.5), 45.0,
        "shorted_turns", {"levels": np.array([1, 2])},
    )  # fmt: skip
    unfound = Finding("x", "X", math.nan, math.nan, "V")
    with new_run(book) as writer:
        writer.findings([finding], "fail")
        writer.findings([finding, unfound], "fail")
    back = book.findings(writer.run_id)
    assert back[0] == finding.with_(evidence={"levels": [1, 2]})
    assert not back[1].known
    assert [run.verdict for run in book.runs()] == ["fail"]


@pytest.mark.parametrize(
    ("error", "outcome"), [(RuntimeError, "cut"), (KeyboardInterrupt, "interrupted"), (None, "done")]
)
def test_a_run_is_closed_whatever_ends_it(
    book: Book, error: type[BaseException] | None, outcome: str
) -> None:
    try:
        with new_run(book) as writer:
            writer.samples(rows(30))
            writer.mark(Mark("sweep", 0.0, math.nan, 3, "ramp"))
            if error is not None:
                raise error
    except BaseException as caught:
        assert type(caught) is error
    run = book.load(writer.run_id)
    assert run.info["outcome"] == outcome
    assert len(run.samples) == 30
    assert run.marks[0].end_s == pytest.approx(0.029)


def test_summary_of_runs(book: Book) -> None:
    with new_run(book) as writer:
        writer.samples(rows(1001))
    (summary,) = book.runs()
    assert (summary.run_id, summary.samples, summary.outcome) == (1, 1001, "done")
    assert summary.duration_s == pytest.approx(1.0)
    assert book.last_run() == 1


def test_unknown_runs_and_empty_books(book: Book) -> None:
    with pytest.raises(BookError, match="holds no run"):
        book.last_run()
    with pytest.raises(UsageError, match="has no run 7"):
        book.load(7)


def test_reading_never_creates_or_changes(tmp_path: Path) -> None:
    with pytest.raises(BookError, match="There is no job book"):
        Book(tmp_path / "none.book", read_only=True)
    with Book(tmp_path / "t.book") as book, new_run(book) as writer:
        writer.samples(rows(10))
    with Book(tmp_path / "t.book", read_only=True) as book:
        assert len(book.load(1).samples) == 10
        with pytest.raises(BookError, match="read-only"):
            book.new_run("x", "y")


def test_is_book(tmp_path: Path) -> None:
    Book(tmp_path / "t.book").close()
    (tmp_path / "t.csv").write_text("time_s\n")
    assert is_book(tmp_path / "t.book")
    assert not is_book(tmp_path / "t.csv")
    assert not is_book(tmp_path / "none")


def other_program(path: Path) -> None:
    connection = sqlite3.connect(path)
    connection.execute("CREATE TABLE tunes(id)")
    connection.close()


def newer(path: Path) -> None:
    Book(path).close()
    connection = sqlite3.connect(path)
    connection.execute(f"PRAGMA user_version = {len(schema.MIGRATIONS) + 1}")
    connection.close()


def damaged(path: Path) -> None:
    with Book(path) as book, new_run(book) as writer:
        writer.samples(rows(2000))
    data = bytearray(path.read_bytes())
    data[4096:] = os.urandom(len(data) - 4096)
    path.write_bytes(data)


@pytest.mark.parametrize(
    ("make", "sentence"),
    [
        (lambda path: path.write_text("no database at all, but long enough to look at"), "is not a job book"),
        (other_program, "not a job book"),
        (newer, "newer strokebench"),
        (damaged, "damaged"),
        (lambda path: path.mkdir(), "cannot be opened"),
    ],
)
def test_files_that_are_no_usable_book(tmp_path: Path, make: object, sentence: str) -> None:
    path = tmp_path / "bad.book"
    make(path)  # type: ignore[operator]
    with pytest.raises(BookError, match=sentence) as caught, Book(path) as book:
        book.load(1)
    assert caught.value.exit_code == 6
    assert caught.value.hint


def test_a_folder_that_does_not_exist(tmp_path: Path) -> None:
    with pytest.raises(BookError, match="cannot be opened"):
        Book(tmp_path / "no" / "t.book")


def test_a_locked_book_holds_the_run_up_only_briefly_and_loses_nothing(book: Book) -> None:
    import time

    with new_run(book) as writer:
        writer.samples(rows(100))
        other = sqlite3.connect(book.path, isolation_level=None)
        other.execute("BEGIN IMMEDIATE")
        began_s = time.monotonic()
        writer.samples(rows(100, 100))
        assert time.monotonic() - began_s < 0.4, "the heartbeat would have been late"
        other.execute("COMMIT")
        other.close()
        writer.samples(rows(100, 200))
    np.testing.assert_array_equal(book.load(1).samples["time_s"], np.arange(300) / 1000)


def writer_process(what: str, path: Path) -> subprocess.Popen[bytes]:
    """Start a process that writes into the book at ``path``: see the program."""
    return subprocess.Popen([sys.executable, PROGRAM, what, str(path)], env=environment())


def test_eight_processes_write_into_one_book(tmp_path: Path) -> None:
    path = tmp_path / "shared.book"  # not there yet: they race for its creation too
    writers = [writer_process("whole", path) for _ in range(8)]
    assert [process.wait(120) for process in writers] == [0] * 8
    with Book(path, read_only=True) as book:
        runs = book.runs()
        assert len(runs) == 24
        assert {(run.outcome, run.samples) for run in runs} == {("done", 2000)}
        for run in runs:
            np.testing.assert_array_equal(book.load(run.run_id).samples["time_s"], np.arange(2000) / 1000)


@pytest.mark.skipif(sys.platform == "win32", reason="SIGKILL")
def test_a_killed_writer_leaves_every_committed_batch(tmp_path: Path) -> None:
    path = tmp_path / "killed.book"
    assert writer_process("killed", path).wait(60) == -9
    with Book(path) as book:
        assert len(book.load(1).samples) == 1000
        assert book.runs()[0].outcome == "cut"


def test_a_book_of_version_0_is_brought_up_to_date_once(tmp_path: Path) -> None:
    path = tmp_path / "empty.book"
    sqlite3.connect(path).close()
    Book(path).close()
    connection = sqlite3.connect(path)
    assert schema.version_of(connection) == len(schema.MIGRATIONS)
    connection.close()


def test_a_later_version_keeps_the_runs_of_an_earlier_one(book: Book, mocker: MockerFixture) -> None:
    with new_run(book) as writer:
        writer.samples(rows(50))
    later = (
        *schema.MIGRATIONS,
        "ALTER TABLE runs ADD COLUMN place TEXT; CREATE TABLE shops(id INTEGER PRIMARY KEY)",
    )
    mocker.patch.object(schema, "MIGRATIONS", later)
    with Book(book.path, read_only=True) as as_it_is:
        assert len(as_it_is.load(1).samples) == 50
    with Book(book.path) as newer_book:
        assert newer_book._connection.execute("SELECT count(*) FROM shops").fetchone() == (0,)
        assert len(newer_book.load(1).samples) == 50


def test_a_migration_that_fails_changes_nothing(book: Book, mocker: MockerFixture) -> None:
    before = schema.MIGRATIONS
    mocker.patch.object(schema, "MIGRATIONS", (*before, "CREATE TABLE half(id INTEGER); CREATE NONSENSE"))
    with pytest.raises(BookError):
        Book(book.path)
    mocker.stopall()
    with Book(book.path) as same:
        tables = same._connection.execute("SELECT name FROM sqlite_master WHERE name = 'half'").fetchall()
        assert tables == []
        assert schema.version_of(same._connection) == len(before)

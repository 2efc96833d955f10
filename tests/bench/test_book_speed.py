"""A job book of ten thousand runs stays quick, its commands with a hundred thousand: list, find, trend."""

from __future__ import annotations

import os
import shlex
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from strokebench.book.book import Book, Wanted
from strokebench.data.findings import Finding, Verdict

pytestmark = pytest.mark.slow

RUNS = 10_000
MOST_S = 1.0
"""A command's own time on the computer that the project's figures come from, when nothing else runs there."""
MOST_TIMES = 5.0
"""And in times of reading the same rows with Python's own library, wherever it runs."""


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Book]:
    """Give an open book of RUNS runs with 20 findings each."""
    path: Path = tmp_path_factory.mktemp("many") / "many.book"
    fill(path, RUNS)
    with Book(path) as made:
        yield made


@pytest.fixture(scope="module")
def large(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a book of ten times as many."""
    path: Path = tmp_path_factory.mktemp("large") / "large.book"
    fill(path, 10 * RUNS)
    return path


def fill(path: Path, runs: int) -> None:
    """Write a book of ``runs`` runs, all but the first directly, since only reading is measured."""
    with Book(path) as made:
        with made.new_run("throttle-body", "throttle", customer="job 0") as writer:
            found = [Finding(f"key_{n}", f"Quantity {n}", n, 0.1, "A") for n in range(20)]
            writer.findings(found, Verdict.PASS.value)
        raw = made._connection
        raw.execute("BEGIN")
        raw.executemany(
            """INSERT INTO runs(id, started_at, part, kind, part_serial, customer, outcome, verdict)
            VALUES (?, ?, ?, 'kind', ?, ?, 'done', ?)""",
            (
                (n, f"2026-{n % 12 + 1:02}-{n % 28 + 1:02}T10:00:00.000+00:00", f"part-{n % 9}",
                 f"S{n % 500}", f"job {n % 700}", "fail" if n % 10 == 0 else "pass")
                for n in range(2, runs + 1)
            ),
        )  # fmt: skip
        raw.execute(
            f"""INSERT INTO findings(run_id, key, title, value, u, unit, verdict, reason, fault, evidence)
            SELECT runs.id, f.key, f.title, f.value, f.u, f.unit, 'pass', '', '', '{{}}'
            FROM runs, findings AS f WHERE f.run_id = 1 AND runs.id BETWEEN 2 AND {runs}"""
        )
        raw.execute("COMMIT")


def test_list_ten_thousand_runs(benchmark: Any, book: Book) -> None:
    assert len(benchmark(book.find, Wanted())) == RUNS


def test_list_the_newest_twenty(benchmark: Any, book: Book) -> None:
    assert len(benchmark(book.find, Wanted(limit=20))) == 20


def test_find_one_customer(benchmark: Any, book: Book) -> None:
    assert 14 <= len(benchmark(book.find, Wanted(customer="job 3"))) <= 15


def test_find_a_word(benchmark: Any, book: Book) -> None:
    assert len(benchmark(book.find, Wanted(text="job 69"))) > 14


def test_trend_of_one_serial_number(benchmark: Any, book: Book) -> None:
    assert len(benchmark(book.trend, "key_7", Wanted(part_serial="S3"))) == RUNS // 500


COMMANDS = {
    "list": "list --limit 0",
    "find": "find --text job --limit 0",
    "trend": "trend 'quantity 7'",
    "trend of one": "trend key_7 --serial S3",
}
PLAIN = """import sqlite3, sys
connection = sqlite3.connect(sys.argv[1])
connection.execute("SELECT id, started_at, part, kind, part_serial, customer, note, outcome, verdict,"
    " samples, last_s - first_s FROM runs").fetchall()"""
"""The least that a list costs: Python's start, and its own library reading the same columns."""


def busy_s(words: list[str]) -> float:
    """Return the processor's time that a command took, s."""
    before = os.times()
    subprocess.run(words, check=True, stdout=subprocess.DEVNULL)
    after = os.times()
    return after.children_user + after.children_system - before.children_user - before.children_system


@pytest.mark.long
@pytest.mark.parametrize("name", COMMANDS)
def test_commands_on_a_hundred_thousand_runs(benchmark: Any, large: Path, name: str) -> None:
    """Laying out the table took 51 s where the search took 0.4 s. Counted is the whole command.

    Bounds are on the processor's time of the quickest of five. What else runs on the computer still slows it,
    but it slows the plain reading as much.
    """
    words = [sys.executable, "-m", "strokebench", "book", *shlex.split(COMMANDS[name]), "--book", str(large)]
    mine: list[float] = []
    plain: list[float] = []

    benchmark.pedantic(
        lambda: mine.append(busy_s(words)),
        setup=lambda: plain.append(busy_s([sys.executable, "-c", PLAIN, str(large)])),
        rounds=5,
    )
    benchmark.extra_info["jobs running on the computer"] = f"{os.getloadavg()[0]:.0f}"
    benchmark.extra_info["processor"] = f"{min(mine):.2f} s"
    benchmark.extra_info["times the plain reading"] = f"{min(mine) / min(plain):.1f}"
    assert min(mine) < MOST_TIMES * min(plain), (mine, plain)
    if os.getloadavg()[0] < (os.cpu_count() or 1):
        assert min(mine) < MOST_S, mine

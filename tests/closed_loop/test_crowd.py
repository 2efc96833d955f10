"""Eight benches at once on one machine: no sample lost, no lock error, into one book or into eight."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from strokebench.book.book import Book

from tests.helpers.process import short_profile, simulated_device, start

pytestmark = pytest.mark.slow

CROWD = 8


def run_all(folder: Path, books: list[str], ports: list[str] | None = None) -> None:
    """Run ``books`` runs at once and check each of them whole."""
    profile = short_profile(folder, 3)
    processes: list[subprocess.Popen[str]] = []
    for number, book in enumerate(books):
        where = ("--port", ports[number]) if ports else ("--sim", "--seed", number + 1)
        processes.append(start("run", profile, *where, "--book", book, "--json", "--no-report", cwd=folder))
    for process in processes:
        out, err = process.communicate(timeout=300)
        told = json.loads(out)
        assert told.get("outcome") == "done", (told, err)
        assert told["lost_rows"] == 0
    for book_name in set(books):
        with Book(folder / book_name, read_only=True) as book:
            assert len(book.runs()) == books.count(book_name)
            for run in book.runs():
                time_s = book.load(run.run_id).samples["time_s"]
                assert np.allclose(np.diff(time_s), 0.001, atol=1e-9), "a tick is missing"
                assert len(time_s) > 3000


def test_eight_runs_into_one_book(tmp_path: Path) -> None:
    run_all(tmp_path, ["t.book"] * CROWD)


@pytest.mark.long  # the eight that share a book are harder
def test_eight_runs_into_eight_books(tmp_path: Path) -> None:
    run_all(tmp_path, [f"{number}.book" for number in range(CROWD)])


@pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals")
@pytest.mark.long
@pytest.mark.parametrize("one_book", [True, False])
def test_eight_real_time_benches_behind_eight_devices(tmp_path: Path, one_book: bool) -> None:
    from contextlib import ExitStack

    with ExitStack() as stack:
        ports = [stack.enter_context(simulated_device(tmp_path, "--pty"))[0] for _ in range(CROWD)]
        run_all(tmp_path, ["t.book" if one_book else f"{number}.book" for number in range(CROWD)], ports)

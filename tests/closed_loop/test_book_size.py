"""What a recording costs on disk."""

from __future__ import annotations

from pathlib import Path

from strokebench.book.book import Book
from strokebench.cli import main

MOST_BYTES_A_ROW = 6.0


def test_a_row_costs_at_most_six_bytes(tmp_path: Path) -> None:
    """37.5 as compressed float64. Measured is what the second run adds to the file, everything included."""
    path, sizes, rows = tmp_path / "a.book", [], []
    for seed in (1, 2):
        main(["run", "throttle-body", "--sim", "--seed", str(seed), "--no-report", "--book", str(path)])
        sizes.append(path.stat().st_size)
        with Book(path, read_only=True) as book:
            rows.append(sum(run.samples for run in book.runs()))
    assert (sizes[1] - sizes[0]) / (rows[1] - rows[0]) <= MOST_BYTES_A_ROW

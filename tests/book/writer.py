"""Runs for job books; as a program (``writer.py whole|killed BOOK``) a process that writes into a shared one.

Run by its path: it finds nothing but strokebench, whatever else is called ``tests`` where it runs.
"""

from __future__ import annotations

import os
import signal
import sys
from pathlib import Path

import numpy as np
from strokebench.book.book import Book
from strokebench.book.writer import RunWriter
from strokebench.data.samples import SAMPLE_DTYPE, Samples


def rows(count: int = 250, start: int = 0) -> Samples:
    """Return ``count`` samples, 1 ms apart, the first at ``start`` ms."""
    samples = np.zeros(count, SAMPLE_DTYPE)
    samples["time_s"] = (np.arange(count) + start) / 1000
    samples["current_a"] = np.random.default_rng(1).normal(0, 1, count)
    samples["part_c"] = np.nan
    samples["state"] = 4
    return samples


def new_run(book: Book) -> RunWriter:
    """Begin a run of a throttle body."""
    return book.new_run(
        "throttle-body", "throttle", customer="C-17", info={"engine": "test"}, profile={"a": 1}
    )


def whole(path: Path) -> None:
    """Write three runs of 2 s."""
    with Book(path) as book:
        for _ in range(3):
            with new_run(book) as writer:
                for start in range(0, 2000, 100):
                    writer.samples(rows(100, start))


def killed(path: Path) -> None:
    """Write 1 s of a run, and be gone without a word."""
    book = Book(path)
    writer = new_run(book)
    for start in range(0, 1000, 100):
        writer.samples(rows(100, start))
    os.kill(os.getpid(), signal.SIGKILL)


if __name__ == "__main__":
    {"whole": whole, "killed": killed}[sys.argv[1]](Path(sys.argv[2]))

"""Runs of the book, as the pages read them."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from strokebench.data.findings import Finding
    from strokebench.data.run import RunData
    from strokebench.parts.profile import Profile

Loaded = tuple["RunData", "list[Finding]", "Profile"]


def load_run(path: Path, run_id: int, *, rows: bool = True) -> Loaded:
    """Return a run, its stored findings and its profile; raises :class:`StrokebenchError`.

    Without ``rows`` its samples are left out, which takes most of the time.
    """
    from strokebench.book.book import Book
    from strokebench.parts import profile_of
    from strokebench.verdict.control import golden

    with Book(path, read_only=True) as book:
        profile = profile_of(book.profile(run_id), f"run {run_id}")
        run = book.load(run_id, until_s=None if rows else -math.inf)
        golden.attach(book, run.info)
        return run, book.findings(run_id), profile

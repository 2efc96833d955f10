"""Recordings from elsewhere, as the commands that judge and learn read them."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import argparse

    from strokebench.data.findings import Finding, Verdict
    from strokebench.data.run import RunData
    from strokebench.foreign.text import Progress
    from strokebench.parts.profile import Profile


def add_run_id(parser: argparse.ArgumentParser) -> None:
    """Add the number of a recorded run."""
    parser.add_argument(
        "run_id", nargs="?", type=int, metavar="RUN", help="number of the run (default: the last)"
    )


def judged_run(args: argparse.Namespace) -> tuple[int, RunData, Profile, list[Finding], Verdict]:
    """Return number, recording, profile, findings and verdict of a run as they are in the book.

    A run that was cut before it was judged is judged here.
    """
    from strokebench.book.book import Book
    from strokebench.data.findings import Verdict
    from strokebench.parts import profile_of
    from strokebench.verdict.control import golden
    from strokebench.verdict.examine import examine

    with Book(args.book, read_only=True) as book:
        run_id = book.last_run() if args.run_id is None else args.run_id
        data, findings = book.load(run_id), book.findings(run_id)
        golden.attach(book, data.info)
        profile = profile_of(book.profile(run_id), f"run {run_id}")
    if findings and data.info.get("verdict"):
        return run_id, data, profile, findings, Verdict(data.info["verdict"])
    findings, verdict = examine(data, profile)
    return run_id, data, profile, findings, verdict


def from_csv(file: str, mapping: str, profile: Profile) -> RunData:
    """Return a CSV file's recording with the stretches that are found in it."""
    from strokebench.foreign.labelling import find_stretches
    from strokebench.foreign.read import read_csv

    return find_stretches(read_csv(file, mapping, progress_of(file)), profile)


LARGEST_ABOUT = 2_000_000
"""Bytes: a larger file beside an export is none of ours."""


def about_beside(file: str) -> dict[str, Any]:
    """Return what an export says of itself in the file ``NAME.about.json`` beside it, empty without one."""
    import json

    from strokebench.book.export.csv import about_path

    beside = about_path(file)
    try:
        small = Path(file).is_file() and beside.stat().st_size < LARGEST_ABOUT
        carried = json.loads(beside.read_text(encoding="utf-8")) if small else None
    except (OSError, ValueError, RecursionError):
        return {}
    return carried if isinstance(carried, dict) else {}


LARGE = 20_000_000
"""Bytes from which reading a file takes so long that its progress is shown."""


def progress_of(file: str) -> Progress | None:
    """Return what shows how much of a large file is read, on a terminal; None for a small one."""
    import os
    import sys

    if not sys.stderr.isatty() or not os.path.exists(file) or os.path.getsize(file) < LARGE:
        return None

    def show(done: int, size: int) -> None:
        end = "\n" if done >= size else ""
        print(f"\rReading {file}: {100 * done // size} %", end=end, file=sys.stderr, flush=True)

    return show

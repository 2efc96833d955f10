"""Judge a run in a job book, or a CSV file from elsewhere."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from strokebench.commands.common import add_json
from strokebench.commands.outcome import Outcome, add_report, finish

if TYPE_CHECKING:
    from strokebench.data.run import RunData
    from strokebench.parts.profile import Profile

MAP_HELP = 'where a CSV\'s columns come from: time="Time [s]",current_a="CH1*100" (scale, offset)'


def add(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument("file", metavar="FILE", help="job book or CSV file")
    parser.add_argument("--run", type=int, metavar="N", help="run in the book (default: the last)")
    parser.add_argument("--part", metavar="PART|FILE.toml", help="judge as this part (needed for a CSV file)")
    parser.add_argument("--map", default="", metavar="TEXT", help=MAP_HELP)
    add_report(parser)
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Do it; the book itself is not changed."""
    from strokebench.verdict.examine import examine

    data, profile = load(args)
    findings, verdict = examine(data, profile)
    return finish(args, Outcome(profile, data, findings, verdict, args.file))


def load(args: argparse.Namespace) -> tuple[RunData, Profile]:
    """Return the run that the arguments name and the profile to judge it by."""
    from strokebench.book.book import is_book

    return _from_book(args) if is_book(args.file) else _from_csv(args)


def _from_book(args: argparse.Namespace) -> tuple[RunData, Profile]:
    from strokebench.book.book import Book
    from strokebench.errors import UsageError
    from strokebench.parts import load_part, profile_of

    if args.map:
        raise UsageError("--map is for CSV files; this is a job book.", "Leave --map out.")
    with Book(args.file, read_only=True) as book:
        run_id = book.last_run() if args.run is None else args.run
        stored = book.profile(run_id)
        profile = load_part(args.part) if args.part else profile_of(stored, f"run {run_id}")
        return book.load(run_id), profile


def _from_csv(args: argparse.Namespace) -> tuple[RunData, Profile]:
    from strokebench.foreign.labelling import label_by_procedure
    from strokebench.foreign.read import read_csv
    from strokebench.foreign.switched import mark_by_current
    from strokebench.parts import load_part

    profile = load_part(args.part or "throttle-body")
    data = label_by_procedure(read_csv(args.file, args.map), profile.procedure)
    known = data.samples[["drive", "output_a_v"]]
    if not data.marks or any(known[name][0] != known[name][0] for name in known.dtype.names or ()):
        data = mark_by_current(data)
    return data, profile

"""Export the samples of a recorded run."""

from __future__ import annotations

import argparse

from strokebench.commands.common import add_book


def add(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument(
        "run_id", nargs="?", type=int, metavar="RUN", help="number of the run (default: the last)"
    )
    parser.add_argument(
        "--csv", required=True, metavar="FILE", help="CSV file to write, - for standard output"
    )
    add_book(parser)


def run(args: argparse.Namespace) -> int:
    """Do it."""
    from strokebench.export import write_csv
    from strokebench.recording import Book

    with Book(args.book, read_only=True) as book:
        data = book.load(book.last_run() if args.run_id is None else args.run_id)
    write_csv(data, args.csv)
    return 0

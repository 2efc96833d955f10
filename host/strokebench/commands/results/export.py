"""Export the samples of a recorded run, with a file beside them that describes the run."""

from __future__ import annotations

import argparse

from strokebench.commands.shared.common import add_book, add_force, add_json, add_without_names, print_json


def add(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument(
        "run_id", nargs="?", type=int, metavar="RUN", help="number of the run (default: the last)"
    )
    parser.add_argument(
        "--csv", required=True, metavar="FILE", help="CSV file to write, - for standard output"
    )
    add_without_names(parser)
    add_force(parser)
    add_book(parser)
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Do it."""
    from strokebench.book.book import Book
    from strokebench.book.export.about import about
    from strokebench.book.export.csv import write_csv
    from strokebench.errors import UsageError

    if args.json and args.csv == "-":
        raise UsageError("--json and --csv - both want standard output.", "Name a file, or leave one out.")
    with Book(args.book, read_only=True) as book:
        data = book.load(book.last_run() if args.run_id is None else args.run_id)
        facts = about(book, data, names=not args.without_names)
    write_csv(data, args.csv, replace=args.force, facts=facts)
    run_id, rows = data.info["run_id"], len(data.samples)
    if args.json:
        print_json({"run_id": run_id, "rows": rows, "file": args.csv})
    elif args.csv != "-":
        print(f"Run {run_id}: {rows:,} rows in {args.csv}")
    return 0

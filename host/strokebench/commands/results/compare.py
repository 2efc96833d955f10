"""Compare two recordings: before and after, suspect and good."""

from __future__ import annotations

import argparse
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

from strokebench.commands.results.judge import add_foreign
from strokebench.commands.shared.common import add_book, add_force, add_json, print_json

if TYPE_CHECKING:
    from strokebench.verdict.compare import Comparison, Side

WHAT = "run number in --book, or FILE.book, FILE.book:RUN, or FILE.csv"


def add(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument("a", metavar="A", help=WHAT)
    parser.add_argument("b", metavar="B", help="the other, likewise")
    add_book(parser)
    add_foreign(parser)
    parser.add_argument(
        "-o", "--output", metavar="FILE.html", help="page to write (default: compare-A-B.html)"
    )
    parser.add_argument("--no-report", action="store_true", help="write none")
    add_force(parser)
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Do it; 0 whether they differ or not."""
    from strokebench.verdict.compare import compare

    found = compare(_side(args, args.a), _side(args, args.b))
    path = None if args.no_report else _write(args, found)
    if args.json:
        print_json(_as_json(args, found, path))
        return 0
    _show(found)
    if path is not None:
        print(f"Page: {path}")
    return 0


def _as_json(args: argparse.Namespace, found: Comparison, path: Path | None) -> dict[str, Any]:
    listed = [
        {
            **asdict(difference),
            "before": difference.before.value,
            "after": difference.after.value,
            "change": difference.change,
            "real": difference.real,
            "meaning": difference.meaning,
        }
        for difference in found.differences
    ]
    return {
        "a": args.a,
        "b": args.b,
        "verdicts": [found.a.verdict.value, found.b.verdict.value],
        "differences": listed,
        "unknown": found.unknown,
        "remarks": found.remarks,
        "report": None if path is None else str(path),
    }


def split(text: str, book: str) -> tuple[str, int | None]:
    """Return file and run (None: the last) that ``text`` means; a plain number is a run of ``book``."""
    if text.isdecimal():
        return book, int(text)
    name, colon, number = text.rpartition(":")
    if colon and name and number.isdecimal():
        return name, int(number)
    return text, None


def _side(args: argparse.Namespace, text: str) -> Side:
    from strokebench.book.book import is_book
    from strokebench.commands.results import judge
    from strokebench.errors import UsageError
    from strokebench.verdict.compare import side

    file, number = split(text, args.book)
    if not is_book(file) and text.isdecimal():
        raise UsageError(f"There is no job book {file} to take run {text} from.", "Name it with --book.")
    mapping = "" if is_book(file) else args.map
    wanted = argparse.Namespace(file=file, run=number, part=args.part, map=mapping)
    return side(*judge.load(wanted), source=text)


def _write(args: argparse.Namespace, found: Comparison) -> Path:
    from strokebench.data.output import free_path, write_whole
    from strokebench.report import mark
    from strokebench.report.comparison import render
    from strokebench.report.workshop import workshop_for

    stems = [Path(text.replace(":", "-")).stem for text in (args.a, args.b)]
    known = mark(found.a.run, found.b.run)
    path = Path(args.output or f"compare-{stems[0]}-{stems[1]}.html")
    if not args.output and not args.force:
        path = free_path(path, known)
    write_whole(
        path, render(found, (args.a, args.b), workshop_for(args.book)), replace=args.force, mark=known
    )
    return path


def _show(found: Comparison) -> None:
    from rich.table import Table

    from strokebench.report.comparison import headline, line
    from strokebench.terminal.console import console

    screen = console()
    table = Table(box=None, pad_edge=False, header_style="bold", padding=(0, 1, 0, 0))
    table.add_column("finding", overflow="fold")
    for name in ("A", "B", "B - A"):
        table.add_column(name, justify="right", no_wrap=True)
    table.add_column("unit", no_wrap=True)
    table.add_column("", no_wrap=True)
    for difference in found.differences:
        row, shown = line(difference), difference.real or difference.meaning
        table.add_row(row.title, row.a, row.b, row.change, row.unit, row.word if shown else "",
                      style="bold" if difference.real else None)  # fmt: skip
    screen.print(table)
    screen.print(headline(found), markup=False, highlight=False)
    for remark in found.remarks:
        screen.print(remark, style="dim", markup=False, highlight=False)

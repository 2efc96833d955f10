"""Work with a job book: list, show, find, note, trend, export, backup, check, recover."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from strokebench.commands.shared.common import (
    add_actions,
    add_book,
    add_force,
    add_json,
    add_without_names,
    print_json,
)
from strokebench.commands.shared.tables import count_up


def add(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    for name, action in add_actions(parser, _TEXTS).items():
        declare = _ARGUMENTS.get(name)
        if declare is not None:
            declare(action)
        add_book(action)
        add_json(action)


def run(args: argparse.Namespace) -> int:
    """Do it."""
    from strokebench.book.typed import no_collection

    handlers = {
        "list": _find, "find": _find, "show": _show, "note": _note, "trend": _trend, "export": _export,
        "backup": _backup, "check": _check, "recover": _recover,
    }  # fmt: skip
    with no_collection():  # of a hundred thousand runs, for a command's short life
        return handlers[args.action](args)


_TEXTS = {
    "list": "List the newest runs",
    "find": "Find runs by part, customer, date, verdict or a word in the note",
    "show": "Show one run with its findings",
    "note": "Add a line to a run's note",
    "trend": "Follow one finding over the runs of a part",
    "export": "Export runs as CSV, Parquet or MDF4",
    "backup": "Copy the book, safe while somebody records",
    "check": "Read the whole book and say whether it is intact and unaltered",
    "recover": "Save what is readable of a damaged or foreign book into a new one",
}


def _add_wanted(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--part", default="", metavar="NAME")
    parser.add_argument("--serial", default="", metavar="TEXT", help="serial number of the part")
    parser.add_argument("--customer", default="", metavar="TEXT", help="customer reference, exactly")
    parser.add_argument("--verdict", default="", choices=("", "pass", "fail", "inconclusive"))
    parser.add_argument("--since", default="", metavar="DATE", help="first day (2026-05-31) or time, UTC")
    parser.add_argument("--until", default="", metavar="DATE", help="last day or time, UTC")
    parser.add_argument("--text", default="", metavar="WORD", help="anywhere in note or customer reference")


def _add_run(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("run_id", type=int, metavar="RUN", help="number of the run")


def _add_list(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--limit", type=int, default=20, metavar="N", help="at most (default: 20, 0: all)")


def _add_find(parser: argparse.ArgumentParser) -> None:
    _add_wanted(parser)
    _add_list(parser)


def _add_note(parser: argparse.ArgumentParser) -> None:
    _add_run(parser)
    parser.add_argument("text", metavar="TEXT")


def _add_trend(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("key", metavar="FINDING", help="the finding: its title, a part of it, or its key")
    _add_wanted(parser)
    parser.add_argument("--plot", metavar="FILE.svg", help="draw it too")
    add_force(parser)


def _add_export(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--run", type=int, metavar="RUN", help="one run (default: all, for --parquet)")
    kinds = parser.add_mutually_exclusive_group(required=True)
    kinds.add_argument("--csv", metavar="FILE")
    kinds.add_argument("--parquet", metavar="FOLDER", help="one file a run, in folders by part and month")
    kinds.add_argument("--mdf", metavar="FILE.mf4", help="ASAM MDF 4, an open standard")
    add_without_names(parser)
    add_force(parser)


def _add_check(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--seal",
        default="",
        metavar="DIGITS",
        help="also look for a seal, as a report shows it; 16 digits do",
    )


def _add_backup(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("target", metavar="FILE")


_ARGUMENTS = {
    "list": _add_list, "find": _add_find, "show": _add_run, "note": _add_note, "trend": _add_trend,
    "export": _add_export, "backup": _add_backup, "check": _add_check, "recover": _add_backup,
}  # fmt: skip


def _wanted(args: argparse.Namespace) -> Any:
    from strokebench.book.book import Wanted

    return Wanted(
        part=getattr(args, "part", ""),
        part_serial=getattr(args, "serial", ""),
        customer=getattr(args, "customer", ""),
        verdict=getattr(args, "verdict", ""),
        since=getattr(args, "since", ""),
        until=getattr(args, "until", ""),
        text=getattr(args, "text", ""),
        limit=getattr(args, "limit", 0),
    )


def _book(args: argparse.Namespace, *, read_only: bool = True) -> Any:
    from strokebench.book.book import Book

    return Book(args.book, read_only=read_only)


def _find(args: argparse.Namespace) -> int:
    with _book(args) as book:
        if args.json:
            print_json(_tables(book.find(_wanted(args))))
            return 0
        from strokebench.terminal.book_tables import LISTED, runs_table

        runs = book.find_columns(_wanted(args), LISTED)
    runs_table(runs)
    return 0


def _tables(rows: Sequence[Any]) -> list[dict[str, Any]]:
    """Return flat dataclasses as tables; ``asdict`` copies each value, which takes seconds for many."""
    from dataclasses import fields
    from operator import attrgetter

    if not rows:
        return []
    names = [each.name for each in fields(rows[0])]
    return [dict(zip(names, values, strict=True)) for values in map(attrgetter(*names), rows)]


def _show(args: argparse.Namespace) -> int:
    from dataclasses import asdict

    with _book(args) as book:
        findings = book.findings(args.run_id)
        summary = book.summary(args.run_id)
    if args.json:
        listed = [{**asdict(finding), "verdict": finding.verdict.value} for finding in findings]
        print_json({**asdict(summary), "findings": listed})
        return 0
    from strokebench.terminal.book_tables import run_page

    run_page(summary, findings)
    return 0


def _note(args: argparse.Namespace) -> int:
    with _book(args, read_only=False) as book:
        note = book.add_note(args.run_id, args.text)
    print_json({"run_id": args.run_id, "note": note}) if args.json else print(note)
    return 0


def _trend(args: argparse.Namespace) -> int:
    with _book(args) as book:
        key, title = book.finding_named(args.key)
        points = book.trend(key, _wanted(args))
    if args.plot:
        from strokebench.report.trend import write_trend

        write_trend(title, points, args.plot, replace=args.force)
    if args.json:
        print_json(_tables(points))
        return 0
    from strokebench.terminal.book_tables import trend_table

    trend_table(title, points)
    return 0


def _export(args: argparse.Namespace) -> int:
    from strokebench.book.export.about import about

    names = not args.without_names
    with _book(args) as book:
        if args.parquet:
            from strokebench.book.export.parquet import write_parquet

            chosen = [args.run] if args.run else book.run_numbers()
            count = write_parquet(book, chosen, args.parquet, names=names)
            return _written(args, f"{count} runs in {args.parquet}", runs=count, folder=args.parquet)
        data = book.load(args.run or book.last_run())
        facts = about(book, data, names=names)
    if args.csv:
        from strokebench.book.export.csv import write_csv

        write_csv(data, args.csv, replace=args.force, facts=facts)
    else:
        from strokebench.book.export.mdf import write_mdf

        write_mdf(data, args.mdf, replace=args.force, facts=facts)
    file, rows, run_id = args.csv or args.mdf, len(data.samples), data.info["run_id"]
    return _written(args, f"Run {run_id}: {rows:,} rows in {file}", run_id=run_id, rows=rows, file=file)


def _written(args: argparse.Namespace, sentence: str, **facts: object) -> int:
    if args.json:
        print_json(facts)
    elif args.csv != "-":
        print(sentence)
    return 0


def _backup(args: argparse.Namespace) -> int:
    with _book(args) as book:
        size = book.backup(args.target)
    print_json({"file": args.target, "bytes": size}) if args.json else print(f"{args.target}: {size:,} bytes")
    return 0


def _check(args: argparse.Namespace) -> int:
    from strokebench.errors import BookError

    with _book(args) as book:
        count = len(book.run_numbers())
        with count_up("runs", quiet=args.json, total=count) as heard:
            problems = book.problems(heard)
        sealed = book.find_seal(args.seal) if args.seal else None
        of_job = book.jobs.find_seal(args.seal) if args.seal and sealed is None else None
    if args.seal and sealed is None and of_job is None:
        problems.append(f"Nothing in the book has the seal {args.seal}.")
    if args.json:
        facts = {"book": str(Path(args.book)), "runs": count, "problems": problems}
        print_json({**facts, "sealed": sealed, "sealed_job": of_job})
    elif problems:
        print("\n".join(problems))
    else:
        print(f"{args.book} is intact and unaltered: {count} runs.")
    if sealed is not None and not args.json:
        print(f"The seal is of run {sealed[0]}, {sealed[1]}, made {sealed[2]}.")
    if of_job is not None and not args.json:
        print(f"The seal is of job {of_job[0]}, {of_job[1]}, made {of_job[2]}.")
    return BookError.exit_code if problems else 0


def _recover(args: argparse.Namespace) -> int:
    from strokebench.book.recover import recover

    count, lost = recover(Path(args.book), Path(args.target))
    if args.json:
        print_json({"file": args.target, "runs": count, "lost": lost})
        return 0
    for line in lost:
        print(line)
    print(f"{count} runs saved in {args.target}; {len(lost)} things in {args.book} could not be read.")
    return 0

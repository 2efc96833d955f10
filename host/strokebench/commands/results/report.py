"""Write the report of a recorded run again."""

from __future__ import annotations

import argparse

from strokebench.commands.shared.common import add_book, add_force, add_json, print_json
from strokebench.commands.shared.outcome import add_pdf


def add(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument(
        "run_id", nargs="?", type=int, metavar="RUN", help="number of the run (default: the last)"
    )
    add_book(parser)
    parser.add_argument("-o", "--report", metavar="FILE", help="where to write it (default: beside the book)")
    add_pdf(parser)
    add_force(parser)
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Do it, with the findings as they were stored."""
    from strokebench.book.book import Book
    from strokebench.commands.shared.outcome import report_place, write_pdf
    from strokebench.data.findings import Verdict
    from strokebench.parts import profile_of
    from strokebench.report import mark, write_report
    from strokebench.report.workshop import workshop_for
    from strokebench.verdict.examine import examine

    with Book(args.book, read_only=True) as book:
        run_id = book.last_run() if args.run_id is None else args.run_id
        data, findings = book.load(run_id), book.findings(run_id)
        profile = profile_of(book.profile(run_id), f"run {run_id}")
    if findings and data.info.get("verdict"):
        verdict = Verdict(data.info["verdict"])
    else:
        findings, verdict = examine(data, profile)  # a run that was cut before it was judged
    path = report_place(args, data, args.book, run_id)
    write_report(data, profile, findings, verdict, path, workshop_for(args.book), replace=args.force)
    pdf = write_pdf(args, path, mark(data))
    if args.json:
        facts = {"run_id": run_id, "verdict": verdict.value, "report": str(path)}
        print_json({**facts, "pdf": None if pdf is None else str(pdf)})
        return 0
    print(f"Report: {path}")
    if pdf is not None:
        print(f"PDF: {pdf}")
    return 0

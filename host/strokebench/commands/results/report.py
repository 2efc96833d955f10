"""Write the report of a recorded run again."""

from __future__ import annotations

import argparse

from strokebench.commands.shared.common import add_book, add_force, add_json
from strokebench.commands.shared.outcome import add_pdf
from strokebench.commands.shared.recordings import add_run_id, judged_run


def add(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    add_run_id(parser)
    add_book(parser)
    parser.add_argument("-o", "--report", metavar="FILE", help="where to write it (default: beside the book)")
    add_pdf(parser)
    add_force(parser)
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Do it, with the findings as they were stored."""
    from strokebench.commands.shared.outcome import report_place, show_written, write_pdf
    from strokebench.report import mark, write_report
    from strokebench.report.workshop import workshop_for

    run_id, data, profile, findings, verdict = judged_run(args)
    path = report_place(args, data, args.book, run_id)
    write_report(data, profile, findings, verdict, path, workshop_for(args.book), replace=args.force)
    pdf = write_pdf(args, path, mark(data))
    return show_written(args, path, pdf, run_id=run_id, verdict=verdict.value)

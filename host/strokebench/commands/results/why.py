"""Print how the verdict of a recorded run came about, step by step."""

from __future__ import annotations

import argparse
from dataclasses import asdict

from strokebench.commands.shared.common import add_book, add_json, print_json


def add(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument(
        "run_id", nargs="?", type=int, metavar="RUN", help="number of the run (default: the last)"
    )
    add_book(parser)
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Do it, from the findings as they were stored."""
    from strokebench.book.book import Book
    from strokebench.data.findings import Verdict
    from strokebench.parts import profile_of
    from strokebench.report.reasoning import steps
    from strokebench.verdict.examine import examine

    with Book(args.book, read_only=True) as book:
        run_id = book.last_run() if args.run_id is None else args.run_id
        data, findings = book.load(run_id), book.findings(run_id)
        profile = profile_of(book.profile(run_id), f"run {run_id}")
    if findings and data.info.get("verdict"):
        verdict = Verdict(data.info["verdict"])
    else:
        findings, verdict = examine(data, profile)  # a run that was cut before it was judged
    found = steps(findings, profile.kind)
    if args.json:
        print_json({"run_id": run_id, "verdict": verdict.value, "steps": [asdict(step) for step in found]})
    else:
        from strokebench.terminal.reasoning import show_steps

        show_steps(f"Run {run_id}, {profile.part.title}: {verdict.value.upper()}", found)
    return 0

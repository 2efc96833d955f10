"""Explain, step by step, how the verdict of a recorded run came about."""

from __future__ import annotations

import argparse
from dataclasses import asdict

from strokebench.commands.shared.common import add_book, add_json, print_json
from strokebench.commands.shared.recordings import add_run_id, judged_run


def add(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    add_run_id(parser)
    add_book(parser)
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Do it, from the findings as they were stored."""
    from strokebench.report.reasoning import steps

    run_id, _data, profile, findings, verdict = judged_run(args)
    found = steps(findings, profile.kind)
    if args.json:
        print_json({"run_id": run_id, "verdict": verdict.value, "steps": [asdict(step) for step in found]})
    else:
        from strokebench.terminal.reasoning import show_steps

        show_steps(f"Run {run_id}, {profile.part.title}: {verdict.value.upper()}", found)
    return 0

"""Stroke a part, record it, judge it, write a report."""

from __future__ import annotations

import argparse
import sys
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING

from strokebench.commands.shared.common import add_bench, add_book, add_json, open_chosen, say, sim_spec, yes
from strokebench.commands.shared.jobs import add_job, take_job
from strokebench.commands.shared.outcome import Outcome, add_report, begin_run, check_report, finish
from strokebench.terminal.cautions import acknowledged, add_acknowledge

if TYPE_CHECKING:
    from strokebench.bench.bench import Bench
    from strokebench.book.book import Book
    from strokebench.data.run import RunData
    from strokebench.parts.profile import Profile


def add(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument(
        "part", metavar="PART|FILE.toml", help="a built-in part (see `parts`) or a profile file"
    )
    add_bench(parser)
    add_book(parser)
    add_report(parser)
    parser.add_argument(
        "--customer", default="", metavar="TEXT", help="customer reference, kept with the run"
    )
    parser.add_argument("--serial", default="", metavar="TEXT", help="serial number of the part")
    parser.add_argument("--note", default="", metavar="TEXT", help="note, kept with the run")
    add_job(parser)
    add_acknowledge(parser)
    parser.add_argument(
        "--leads-checked",
        action="store_true",
        help="the leads are on the part and whole, the sensor was tried unplugged: an open or shorted circuit"
        " is then the part's, and it fails; nobody is asked",
    )
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Do it; the book is opened first, so that nothing moves that could not be recorded."""
    from strokebench.book.book import Book
    from strokebench.parts import load_part
    from strokebench.parts.on_bench import on_bench
    from strokebench.verdict.control import golden
    from strokebench.verdict.examine import examine

    profile = load_part(args.part)
    simulated = sim_spec(args, profile.simulated) is not None
    how = acknowledged(profile, given=args.acknowledge, simulated=simulated, quiet=args.json)
    check_report(args)
    with Book(args.book) as book:
        take_job(args, book)
        with open_chosen(args, profile.simulated) as bench:
            profile = on_bench(profile, bench.identity.board)
            data = _drive(args, bench, profile, book, how)
        findings, verdict = examine(data, profile)
        run_id = int(data.info["run_id"])
        book.judged(run_id, findings, verdict.value)
        golden.remember(book, run_id)
        data = book.load(run_id)
        golden.attach(book, data.info)
    return finish(args, Outcome(profile, data, findings, verdict, str(args.book)))


def _drive(args: argparse.Namespace, bench: Bench, profile: Profile, book: Book, how: str) -> RunData:
    from strokebench.errors import LinkError
    from strokebench.session import arm_or_refusal, record, record_refusal
    from strokebench.terminal.live import LiveView

    bench.set_limits(profile.limits)
    _offer_to_clear(args, bench)
    refusal = arm_or_refusal(bench, profile, partial(_look, args))
    writer = begin_run(args, book, bench, profile, how)
    if refusal is not None:
        if args.leads_checked:
            refusal = replace(refusal, checked="by option")
        with writer:
            return record_refusal(bench, writer, refusal)
    checked = {"leads_checked": "by option"} if args.leads_checked else {}
    if checked:
        writer.info(**checked)
    try:
        duration_s, marked = profile.procedure.duration_s, bench.engine == "plant"
        with writer, LiveView(profile, duration_s, quiet=args.json, simulated=marked) as view:
            data = record(bench, profile, writer, view.update)
        data.info.update(checked)
        return data
    except LinkError as error:
        error.hint = f"{error.hint} What was recorded is kept: run {writer.run_id} in {args.book}.".strip()
        raise


def _look(args: argparse.Namespace, question: str) -> bool:
    """Have somebody look at the leads; False where nobody is there to look."""
    if args.leads_checked:
        return True
    if args.json or not sys.stdin.isatty():
        return False
    return yes(f"{question} (yes or no)")


def _offer_to_clear(args: argparse.Namespace, bench: Bench) -> None:
    """Ask whether a fault that an earlier run left behind may be cleared; arming refuses otherwise."""
    from strokebench.link.link import fault_row

    if args.json or not sys.stdin.isatty():
        return
    status = bench.status()
    if status.state != "latched":
        return
    _key, sentence, check = fault_row(status.fault)
    say(f"The bench still holds a fault: {sentence} (code {status.fault}) {check}")
    if yes("Is its cause gone? Clear it and go on? (yes or no)"):
        bench.clear()

"""Test a part on the running engine: the bench moves it, and you answer what the engine did."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from typing import TYPE_CHECKING

from strokebench.commands.shared.common import (
    add_bench,
    add_book,
    add_json,
    open_chosen,
    print_json,
    say,
    sim_spec,
)
from strokebench.commands.shared.jobs import add_job, take_job
from strokebench.commands.shared.outcome import Outcome, add_report, begin_run, check_report, finish

if TYPE_CHECKING:
    from strokebench.bench.bench import Bench
    from strokebench.book.book import Book
    from strokebench.data.run import RunData
    from strokebench.guided.people import Person
    from strokebench.parts.guide import Guide
    from strokebench.parts.profile import Profile


def add(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument("name", metavar="NAME", nargs="?", help="the procedure (see --list)")
    parser.add_argument("--list", action="store_true", help="show the procedures and their steps, do nothing")
    parser.add_argument("--part", metavar="PART|FILE.toml", help="the part (default: the procedure's own)")
    parser.add_argument(
        "--answers", metavar="FILE.toml", help='answers, step = "answer", for scripts; with --sim only'
    )
    add_bench(parser)
    add_book(parser)
    add_report(parser)
    parser.add_argument("--customer", default="", metavar="TEXT", help="kept with the run")
    parser.add_argument("--serial", default="", metavar="TEXT", help="serial number of the part")
    parser.add_argument("--note", default="", metavar="TEXT", help="note, kept with the run")
    add_job(parser)
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Do it; the part is off when this returns, for whatever reason."""
    from strokebench.errors import UsageError
    from strokebench.guided import guide_names, guided_profile, load_guide
    from strokebench.guided.people import need_terminal, read_answers
    from strokebench.parts import load_part

    if args.list:
        return _list(args)
    if args.name is None:
        raise UsageError("Name a guided procedure.", f"Known: {', '.join(guide_names())}.")
    guide = load_guide(args.name)
    profile = guided_profile(guide, load_part(args.part or guide.part))
    simulated = sim_spec(args, profile.simulated) is not None
    if args.answers is None:
        need_terminal()
        return _with_terminal(args, profile, simulated)
    if not simulated:
        raise UsageError(
            "Answers from a file are for the simulated bench: at a real engine somebody must look.",
            "Leave --answers out, or add --sim.",
        )
    from strokebench.guided.people import AnswerFile

    person = AnswerFile(read_answers(args.answers, guide))
    return _carry_out(args, profile, person, "simulated, taken as read")


def _list(args: argparse.Namespace) -> int:
    from strokebench.guided import guide_names, load_guide

    guides = [load_guide(name) for name in guide_names()]
    if args.json:
        print_json([guide.model_dump(mode="json") for guide in guides])
        return 0
    for guide in guides:
        say(f"{guide.name}: {guide.title}, for parts of kind {', '.join(guide.kinds)}")
        for step in guide.steps:
            say(f"  {step.id:<12} {step.question} {', '.join(choice.key for choice in step.choices)}")
    return 0


def _with_terminal(args: argparse.Namespace, profile: Profile, simulated: bool) -> int:
    from strokebench.errors import UsageError
    from strokebench.guided.people import TerminalPerson
    from strokebench.terminal.keys import keys

    guide = _guide(profile)
    tell = _teller(args)
    if simulated:
        tell("Simulated bench and valve. You imagine the engine.")
    tell(f"{profile.part.title}. {len(guide.cautions)} cautions come first. Answer each with yes.")
    asking = TerminalPerson(lambda: "", _ask, tell)
    for caution in guide.cautions:
        if not asking.confirm(caution):
            raise UsageError(
                "A caution was not acknowledged; nothing was driven.", "Meet it, then start again."
            )
    for line in profile.part.connect:
        tell(f"CONNECT: {line}")
    how = f"all {len(guide.cautions)}, one by one, by answer"
    with keys() as pressed:
        return _carry_out(args, profile, TerminalPerson(pressed, _ask, tell), how)


def _ask(question: str) -> str:
    sys.stderr.write(question)
    sys.stderr.flush()
    line = sys.stdin.readline()
    if not line:
        raise EOFError
    return line


def _teller(args: argparse.Namespace) -> Callable[[str], None]:
    """Return what shows a line; with JSON, standard output stays the result's."""
    if not args.json:
        return _show
    return lambda text: print(text, file=sys.stderr)


def _show(text: str) -> None:
    say(text)
    sys.stdout.flush()


def _guide(profile: Profile) -> Guide:
    assert profile.guided is not None  # made so by guided_profile
    return profile.guided


def _carry_out(args: argparse.Namespace, profile: Profile, person: Person, how: str) -> int:
    from strokebench.book.book import Book
    from strokebench.parts.on_bench import on_bench
    from strokebench.verdict.examine import examine

    check_report(args)
    with Book(args.book) as book:  # before anything moves that could not be recorded
        take_job(args, book, role="guided")
        with open_chosen(args, profile.simulated) as bench:
            profile = on_bench(profile, bench.identity.board)
            data = _drive(args, bench, profile, book, person, how)
        findings, verdict = examine(data, profile)
        run_id = int(data.info["run_id"])
        book.judged(run_id, findings, verdict.value)
        data = book.load(run_id)
    return finish(args, Outcome(profile, data, findings, verdict, str(args.book)))


def _drive(
    args: argparse.Namespace, bench: Bench, profile: Profile, book: Book, person: Person, how: str
) -> RunData:
    from strokebench.guided.walk import Walk
    from strokebench.session import arm_or_refusal, record_refusal

    bench.set_limits(profile.limits)
    refusal = arm_or_refusal(bench, profile, lambda question: False)
    writer = begin_run(args, book, bench, profile, how)
    with writer:
        if refusal is not None:
            return record_refusal(bench, writer, refusal)
        return Walk(bench, profile, writer, person, _teller(args)).go()

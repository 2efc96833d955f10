"""Hide defects in simulated parts, let groups predict them, and compare."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from strokebench.commands.shared.common import add_actions, add_book, add_json, print_json, say
from strokebench.commands.shared.tables import show_table

if TYPE_CHECKING:
    from strokebench.data.findings import Finding
    from strokebench.lessons.hidden import Answer

PARTS = "solenoid,throttle-body"
TEXTS = {
    "make": "Draw parts from a seed that only the teacher knows, and stroke them into a new job book",
    "show": "List the parts, or show the measured values of one",
    "predict": "Write down what a group thinks is wrong with a part",
    "compare": "Show the truth beside all predictions and the program's own verdict",
}


def add(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    of = add_actions(parser, TEXTS)
    for name in ("make", "compare"):
        help_text = "the teacher's secret, a word of 4 letters or more"
        of[name].add_argument("--seed", required=True, metavar="WORD", help=help_text)
    of["make"].add_argument("--count", type=int, default=6, metavar="N", help="how many parts (default: 6)")
    of["make"].add_argument(
        "--parts", default=PARTS, metavar="A,B", help=f"simulated parts to draw from (default: {PARTS})"
    )
    of["show"].add_argument("number", nargs="?", type=int, metavar="N", help="the part (default: list)")
    of["predict"].add_argument("number", type=int, metavar="N", help="the part")
    of["predict"].add_argument("--group", required=True, metavar="NAME", help="who predicts")
    of["predict"].add_argument("--says", required=True, metavar="DEFECT", help="good, or a defect's name")
    for each in of.values():
        add_book(each)
        add_json(each)


def run(args: argparse.Namespace) -> int:
    """Do it."""
    from strokebench.book.book import Book

    with Book(args.book) as book:
        if args.action == "make":
            return _make(args, book)
        if args.action == "predict":
            from strokebench.lessons import hidden

            hidden.predict(book, args.number, args.group, args.says)
            kept = hidden.predictions(book, args.number)
            print_json(kept) if args.json else print(f"Written down: {args.group} says {args.says}.")
            return 0
        return _show(args, book) if args.action == "show" else _compare(args, book)


def _make(args: argparse.Namespace, book: Any) -> int:
    from strokebench.lessons import hidden

    names = tuple(name for name in args.parts.split(",") if name)
    done = 0
    for done in hidden.make(book, args.seed, names, args.count):
        if not args.json:
            print(f"part {done} of {args.count} is in the book", flush=True)
    if args.json:
        print_json({"book": str(book.path), "parts": done})
    else:
        say(f"Give {book.path} to the class. Write the seed down, and keep it to yourself.")
    return 0


def _show(args: argparse.Namespace, book: Any) -> int:
    from strokebench.lessons import hidden

    if args.number is None:
        parts = {n: book.summary(run).part for n, run in enumerate(hidden.runs_of(book), 1)}
        if args.json:
            print_json(parts)
            return 0
        show_table(["part", "kind"], [[str(n), part] for n, part in parts.items()])
        for part in dict.fromkeys(parts.values()):
            say(f"A {part} may be: {', '.join(hidden.possible(part))}.")
        return 0
    part, findings, _verdict = hidden.judged(book, args.number)
    rows = [
        [
            finding.title,
            _value(finding),
            _limits(finding),
        ]
        for finding in findings
    ]
    if args.json:
        print_json({"part": part, "findings": rows})
    else:
        print(f"Part {args.number}: {part}")
        show_table(["finding", "value", "limits"], rows)
        say(f"Curves: strokebench export {hidden.run_of(book, args.number)} --book {book.path} --csv FILE")
    return 0


def _value(finding: Finding) -> str:
    from strokebench.data.findings import yes_or_no

    measured = f"{finding.value:.4g} {finding.unit}".rstrip() if finding.known else "unknown"
    return yes_or_no(finding) or measured


def _limits(finding: Finding) -> str:
    from strokebench.data.findings import yes_or_no
    from strokebench.report.numbers import limits_text

    return "yes" if yes_or_no(finding) else limits_text(finding.lower, finding.upper)


def _compare(args: argparse.Namespace, book: Any) -> int:
    from strokebench.lessons import hidden

    answers = hidden.opened(book, args.seed)
    groups = sorted({group for answer in answers for group in answer.predicted})
    score = {
        "the program": sum(answer.program_right for answer in answers),
        **{group: sum(answer.predicted.get(group) == answer.truth for answer in answers) for group in groups},
    }
    if args.json:
        print_json({"answers": [_as_json(answer) for answer in answers], "right": score})
        return 0
    rows = [
        [str(answer.number), answer.part, answer.truth, f"{answer.verdict} {', '.join(answer.named)}".strip(),
         *(_mark(answer, group) for group in groups)]
        for answer in answers
    ]  # fmt: skip
    show_table(["part", "kind", "truth", "the program", *groups], rows)
    for who, right in score.items():
        print(f"{who}: {right} of {len(answers)} right")
    return 0


def _mark(answer: Answer, group: str) -> str:
    says = answer.predicted.get(group)
    return "nothing said" if says is None else f"{'right' if says == answer.truth else 'wrong'}: {says}"


def _as_json(answer: Answer) -> dict[str, Any]:
    return {**vars(answer), "named": list(answer.named), "program_right": answer.program_right}

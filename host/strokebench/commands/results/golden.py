"""Check the bench with a golden part: control charts of its findings."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from strokebench.commands.shared.common import add_actions, add_book, add_json, print_json
from strokebench.commands.shared.tables import show_table

if TYPE_CHECKING:
    from strokebench.verdict.control.chart import Chart
    from strokebench.verdict.control.golden import Standing

TOO_FEW, WARNS = 3, 1


def add(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    from strokebench.data.charts import FEWEST, REFERENCE

    for name, action in add_actions(parser, _TEXTS).items():
        if name != "show":
            action.add_argument("part", metavar="PART", help="name of the part's profile")
            action.add_argument("serial", metavar="SERIAL", help="its serial number, as given to `run`")
        if name == "keep":
            text = f"runs that the middle is taken from ({FEWEST} or more, default: {REFERENCE})"
            action.add_argument("--reference", type=int, metavar="N", default=REFERENCE, help=text)
        add_book(action)
        add_json(action)


_TEXTS = {
    "keep": "Declare a golden part: from now on its runs check the bench",
    "show": "Show what the golden parts say about the benches",
    "drop": "Check the bench with this part no longer; its runs stay",
}


def run(args: argparse.Namespace) -> int:
    """Do it; ``show`` returns 1 when a golden part warns, 3 when there are too few runs."""
    return _show(args) if args.action == "show" else _change(args)


def _change(args: argparse.Namespace) -> int:
    from strokebench.book.book import Book
    from strokebench.book.facts import GOLDEN
    from strokebench.data.charts import FEWEST
    from strokebench.errors import UsageError

    with Book(args.book) as book:
        known = book.golden_parts()
        others = [list(each) for each in known if each[:2] != (args.part, args.serial)]
        if args.action == "drop":
            if len(others) == len(known):
                raise UsageError("There is no such golden part.", "See: strokebench golden show.")
            book.keep_fact(GOLDEN, others)
        else:
            if args.reference < FEWEST:
                raise UsageError(f"{args.reference} runs are no reference.", f"Take {FEWEST} or more.")
            book.keep_fact(GOLDEN, [*others, [args.part, args.serial, args.reference]])
    facts = {"part": args.part, "serial": args.serial, "golden": args.action == "keep"}
    word = "is a golden part" if args.action == "keep" else "is no golden part any more"
    print_json(facts) if args.json else print(f"{args.part} {args.serial} {word}.")
    return 0


def _show(args: argparse.Namespace) -> int:
    from strokebench.book.book import Book
    from strokebench.errors import UsageError
    from strokebench.verdict.control.golden import looked_at

    with Book(args.book, read_only=True) as book:
        if not book.golden_parts():
            raise UsageError(f"{args.book} has no golden part.", "Declare one: strokebench golden keep.")
        found = looked_at(book)
    if args.json:
        print_json([_as_json(*each) for each in found])
    for each, charts in [] if args.json else found:
        print(f"Bench {each.bench}. {each.sentence}")
        _table(charts)
    if any(each.warns for each, _ in found):
        return WARNS
    return TOO_FEW if not found or any(each.state == "too few" for each, _ in found) else 0


def _as_json(each: Standing, charts: list[Chart]) -> dict[str, Any]:
    shown = {
        chart.key: {"middle": chart.middle, "spread": chart.spread, "now": chart.now, "limit": chart.edge,
                    "signals": chart.signals, "of_guard_band": chart.of_guard_band}
        for chart in charts
    }  # fmt: skip
    return {**vars(each), "sentence": each.sentence, "charts": shown}


def _table(charts: list[Chart]) -> None:
    if not charts:
        return
    rows = [
        (chart.key.replace("_", " "), f"{chart.scale.back(chart.middle):.4g}", f"{chart.now:+.2f}",
         f"{chart.edge:.2f}", f"{100 * chart.of_guard_band:.0f} %", "warns" if chart.signals else "")
        for chart in charts
    ]  # fmt: skip
    show_table(("finding", "middle", "average", "limit", "of guard band", " "), rows)
    print("Average and limit: in standard deviations of the reference runs. See the manual: golden part.")

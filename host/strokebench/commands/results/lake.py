"""Pool the runs of many benches and workshops, search them, and make limits from them."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from strokebench.commands.results import lake_limits
from strokebench.commands.shared.common import add_actions, add_book, add_json, print_json
from strokebench.commands.shared.tables import count_up, show_table

if TYPE_CHECKING:
    from strokebench.book.book import Book

DEFAULT_KEY = "strokebench-lake.key"


def add(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    made = add_actions(parser, {name: each[0] for name, each in _ACTIONS.items()})
    for name, (_, declare, _, named) in _ACTIONS.items():
        action = made[name]
        if named:
            action.add_argument(
                "lake", metavar="LAKE", help="folder, or address of an object store (s3://...)"
            )
        declare(action)
        add_json(action)


def run(args: argparse.Namespace) -> int:
    """Do it."""
    return int(_ACTIONS[args.action][2](args))


def _add_put(parser: argparse.ArgumentParser) -> None:
    add_book(parser)
    text = f"the workshop's key for pseudonyms, made when it is not there (default: {DEFAULT_KEY})"
    parser.add_argument("--key", metavar="FILE", default=DEFAULT_KEY, help=text)
    parser.add_argument("--part", default="", metavar="NAME", help="only runs of this part")
    text = "the part's name in the lake, such as a part number that all workshops agreed on; with --part"
    parser.add_argument("--called", default="", metavar="NAME", help=text)
    text = "parts that you know to be good: serial numbers, runs (3,5-8), or all"
    parser.add_argument("--good", metavar="LIST", help=text)
    parser.add_argument("--findings-only", action="store_true", help="leave the samples out")


def _put(args: argparse.Namespace) -> int:
    from strokebench.book.book import Book
    from strokebench.errors import BookError, UsageError
    from strokebench.lake.names import load_key
    from strokebench.lake.place import open_place
    from strokebench.lake.put import Wish, put

    if args.called and not args.part:
        raise UsageError("--called names one part.", "Say which: --part NAME.")
    place, names = open_place(args.lake, there=False), load_key(args.key)
    with Book(args.book, read_only=True) as book, count_up("runs", quiet=args.json) as heard:
        wish = Wish(args.part, args.called, not args.findings_only, _good(args, book))
        done = put(book, place, names, wish, heard)
    if args.json:
        print_json({"lake": args.lake, "shop": names.shop, "runs": done.runs, "there": done.there,
                    "good": done.good, "lost": done.lost})  # fmt: skip
    else:
        print(f"{done.runs} runs put, {done.there} were there. This workshop is {names.shop} in the lake.")
        if done.good:
            print(f"{done.good} parts declared good.")
    if done.lost:
        raise BookError(f"{len(done.lost)} runs could not be put: {', '.join(done.lost[:5])}.",
                        "`strokebench book check` lists what is wrong.")  # fmt: skip
    return 0


def _good(args: argparse.Namespace, book: Book) -> set[int]:
    """Return the numbers of the runs whose parts are declared good."""
    from strokebench.commands.shared.good import chosen, of_runs

    if not args.good:
        return set()
    runs = [run for run in book.runs() if args.part in ("", run.part)]
    named, _left = chosen(of_runs(str(args.book), runs), args.good, "")
    return {each.number for each in named if each.number is not None}


def _add_find(parser: argparse.ArgumentParser) -> None:
    from strokebench.lake.ask import BY

    parser.add_argument("--part", default="", metavar="NAME")
    parser.add_argument("--finding", default="", metavar="KEY", help="key of a finding")
    parser.add_argument("--since", default="", metavar="MONTH", help="first month, such as 2026-05")
    parser.add_argument("--until", default="", metavar="MONTH", help="last month")
    parser.add_argument("--by", default="", choices=("", *BY), help="count apart")


def _find(args: argparse.Namespace) -> int:
    from strokebench.lake.ask import QUANTILES, Asked, quantiles
    from strokebench.lake.place import open_place

    asked = Asked(args.part, args.finding, args.since, args.until, args.by)
    found = quantiles(open_place(args.lake), asked)
    if args.json:
        print_json([vars(each) for each in found])
        return 0
    levels = [f"{100 * level:g} %" for level in QUANTILES]
    rows = [
        (f"{each.part}{' (simulated)' if each.simulated else ''}", each.key, each.group, each.unit,
         f"{each.count:,}", f"{each.failed:,}", *(f"{value:.4g}" for value in (each.mean, *each.quantiles)))
        for each in found
    ]  # fmt: skip
    show_table(("part", "finding", args.by, "unit", "runs", "failed", "mean", *levels), rows)
    return 0


def _add_scheduler(parser: argparse.ArgumentParser) -> None:
    text = "a Dask cluster's scheduler, such as tcp://host:8786 (default: this computer's cores)"
    parser.add_argument("--scheduler", default="", metavar="ADDRESS", help=text)


def _add_samples(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--part", default="", metavar="NAME")
    _add_scheduler(parser)


def _samples(args: argparse.Namespace) -> int:
    from strokebench.lake.many import amounts
    from strokebench.lake.place import open_place

    found = amounts(open_place(args.lake), args.part, args.scheduler)
    if args.json:
        print_json([vars(each) for each in found])
        return 0
    heads = ("part", "recordings", "samples", "largest current, A", "rms current, A")
    rows = [
        (each.part, f"{each.recordings:,}", f"{each.samples:,}", f"{each.most_a:.3f}", f"{each.rms_a:.3f}")
        for each in found
    ]
    show_table(heads, rows)
    return 0


def _add_judge(parser: argparse.ArgumentParser) -> None:
    text = "the new limits; recordings of the part of that name are judged"
    parser.add_argument("--part", required=True, metavar="PART|FILE.toml", help=text)
    text = "the part's name in the lake (default: the profile's)"
    parser.add_argument("--called", default="", metavar="NAME", help=text)
    _add_scheduler(parser)


def _judge(args: argparse.Namespace) -> int:
    from strokebench.lake.many import judged_again
    from strokebench.lake.place import open_place
    from strokebench.parts import load_part

    profile = load_part(args.part)
    table = profile.model_dump(mode="json", exclude_none=True)
    found = judged_again(open_place(args.lake), args.called or profile.name, table, args.scheduler)
    if args.json:
        print_json([vars(each) for each in found])
        return 0
    counts: dict[tuple[str, str], int] = {}
    for each in found:
        pair = (each.before or "not judged", each.now or "not possible")
        counts[pair] = counts.get(pair, 0) + 1
    show_table(("verdict then", "now", "runs"), [(*pair, str(n)) for pair, n in sorted(counts.items())])
    for each in found:
        if each.error or each.now != each.before:
            why = each.error or ", ".join(each.failing)
            print(f"{each.run} (bench {each.bench}): {each.before} -> {each.now}. {why}".rstrip())
    return 0


_ACTIONS: dict[str, tuple[str, Any, Any, bool]] = {
    "put": ("Put the runs of a job book into the lake, under pseudonyms", _add_put, _put, True),
    "find": ("Count findings: exact quantiles by part and finding", _add_find, _find, True),
    "samples": ("Count the samples of each part", _add_samples, _samples, True),
    "judge": ("Judge the recordings again by new limits", _add_judge, _judge, True),
    **lake_limits.ACTIONS,
}

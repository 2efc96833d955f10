"""Learn a part's limits from recordings of several known-good parts."""

from __future__ import annotations

import argparse
import re
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

from strokebench.commands.shared.common import add_book, add_json, print_json

if TYPE_CHECKING:
    from strokebench.book.book import Book
    from strokebench.parts.profile import Profile
    from strokebench.verdict.learn import Learnt, LearntLimit, Specimen

DEFAULT_MIN = 8
RUNS_HELP = "runs to learn from, such as 3,5,8-12 (default: all complete runs of the part that did not fail)"


def add(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument("--part", required=True, metavar="PART|FILE.toml", help="the part they are of")
    add_book(parser)
    parser.add_argument("--runs", metavar="LIST", help=RUNS_HELP)
    parser.add_argument(
        "--min", type=int, default=DEFAULT_MIN, metavar="N",
        help=f"different parts needed, counted by serial number (default: {DEFAULT_MIN}, at least 5)",
    )  # fmt: skip
    parser.add_argument("-o", "--output", metavar="FILE.toml", help="profile to write (default: only show)")
    parser.add_argument("--name", metavar="NAME", help="name of the new profile (default: the file's)")
    parser.add_argument("--force", action="store_true", help="overwrite the file")
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Do it; the book is not changed."""
    from strokebench.book.book import Book
    from strokebench.parts import load_part
    from strokebench.verdict.learn import learn

    base = load_part(args.part)
    with Book(args.book, read_only=True) as book:
        specimens = _specimens(book, base, args.runs)
    learnt = learn(specimens, base, args.min)
    if args.output:
        _write(args, learnt, base)
    if args.json:
        print_json({"parts": learnt.parts, "runs": learnt.runs, "source": str(args.book),
                    "limits": [asdict(limit) for limit in learnt.limits], "left": learnt.left,
                    "profile": args.output})  # fmt: skip
    else:
        _show(learnt, args.output)
    return 0


def numbers(text: str) -> list[int]:
    """Return the run numbers in ``3,5,8-12``; UsageError when it is not such a list."""
    from strokebench.errors import UsageError

    found: list[int] = []
    for piece in text.split(","):
        match = re.fullmatch(r"\s*(\d+)(?:-(\d+))?\s*", piece)
        if match is None:
            raise UsageError(f"--runs {text!r} is not a list of runs.", "Write it like 3,5,8-12.")
        found += range(int(match[1]), int(match[2] or match[1]) + 1)
    return list(dict.fromkeys(found))


def _specimens(book: Book, base: Profile, runs: str | None) -> list[Specimen]:
    from strokebench.book.book import Wanted
    from strokebench.errors import DataError
    from strokebench.verdict.learn import Specimen

    if runs is None:
        all_runs = book.find(Wanted(part=base.name))[::-1]
        chosen = [
            summary
            for summary in all_runs
            if summary.outcome == "done" and summary.verdict not in (None, "fail")
        ]
    else:
        chosen = [book.summary(number) for number in numbers(runs)]
        for summary in chosen:
            if summary.outcome != "done" or not summary.verdict:
                raise DataError(f"Run {summary.run_id} did not end as planned.", "Leave it out of --runs.")
            if summary.part != base.name:
                raise DataError(
                    f"Run {summary.run_id} is of {summary.part!r}, not {base.name!r}.", "Leave it out."
                )
    return [
        Specimen(summary.run_id, summary.part_serial, summary.part, summary.kind,
                 book.profile(summary.run_id), book.findings(summary.run_id))
        for summary in chosen
    ]  # fmt: skip


def _write(args: argparse.Namespace, learnt: Learnt, base: Profile) -> None:
    """Write the profile: what it is based on, and the learned limits; then read it as `run` would."""
    from strokebench.data.output import write_whole
    from strokebench.parts import load_part, part_names
    from strokebench.parts.write import toml_text

    path = Path(args.output)
    table: dict[str, Any]
    if args.part in part_names():
        table = {"based_on": args.part, "part": {}, "findings": {}}
    else:
        table = base.model_dump(mode="json", exclude_none=True)
    table["part"]["name"] = args.name or re.sub(r"[^a-z0-9]+", "-", path.stem.lower()).strip("-") or "learnt"
    source = f"{Path(args.book).name}"
    for limit in learnt.limits:
        table["findings"].setdefault(limit.key, {}).update(_limits(limit, source))
    head = f"Limits learnt from {learnt.parts} good parts ({learnt.runs} runs) in {source}.\n" + "\n".join(
        f"Not learnt: {key} ({why})." for key, why in learnt.left.items()
    )
    write_whole(path, toml_text(table, head), replace=args.force)
    load_part(path)


def _limits(limit: LearntLimit, source: str) -> dict[str, Any]:
    from strokebench.verdict.learn import note, rounded

    both = {"lower": limit.lower, "upper": limit.upper}
    reach = max(limit.spread, limit.u)
    out: dict[str, Any] = {key: rounded(value, reach) for key, value in both.items() if value is not None}
    return {**out, "parts": limit.parts, "note": note(limit, source)}


def _show(learnt: Learnt, path: str | None) -> None:
    from rich.table import Table

    from strokebench.terminal.console import console
    from strokebench.verdict.learn import rounded

    screen = console()
    table = Table(box=None, pad_edge=False, header_style="bold", padding=(0, 1, 0, 0))
    table.add_column("finding", overflow="fold")
    for name in ("parts", "median", "spread", "U", "lower", "upper"):
        table.add_column(name, justify="right", no_wrap=True)
    for limit in learnt.limits:
        edge = max(limit.spread, limit.u)
        ends = ["" if x is None else f"{rounded(x, edge):g}" for x in (limit.lower, limit.upper)]
        spread = (f"{limit.spread:.2g}", f"{2 * limit.u:.2g}")
        title = f"{limit.title}, {limit.unit}".rstrip(", ")
        table.add_row(title, str(limit.parts), f"{limit.centre:.4g}", *spread, *ends)
    screen.print(table)
    screen.print(f"From {learnt.parts} good parts in {learnt.runs} runs.", highlight=False)
    for key, why in learnt.left.items():
        screen.print(f"Not learnt: {key} ({why}).", markup=False, highlight=False)
    for limit in learnt.limits:
        if limit.far_out:
            who = ", ".join(limit.far_out)
            screen.print(f"Far from the others in {limit.title}: {who}. Is it good?", markup=False)
    if path:
        screen.print(f"Profile: {path}", markup=False, highlight=False)

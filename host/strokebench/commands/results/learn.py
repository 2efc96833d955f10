"""Learn the limits of a part from recordings of known-good parts, or from the profiles of two shops."""

from __future__ import annotations

import argparse
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from strokebench.commands.shared.common import add_book, add_force, add_json, print_json
from strokebench.commands.shared.good import add_good
from strokebench.commands.shared.profiles import write_profile

if TYPE_CHECKING:
    from collections.abc import Sequence

    from strokebench.parts.profile import Profile
    from strokebench.verdict.learning.belonging import Stranger
    from strokebench.verdict.learning.learn import Learnt, LearntLimit, Specimen

FILES_HELP = "job books, CSV files, folders of CSV files (default: the book of --book)"


def add(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    from strokebench.commands.results.judge import MAP_HELP

    parser.add_argument("files", nargs="*", metavar="FILE", help=FILES_HELP)
    what = parser.add_mutually_exclusive_group(required=True)
    what.add_argument("--part", metavar="PART|FILE", help="the part that they are of")
    what.add_argument("--add", metavar="FILE", help="a learnt profile that is to learn on from further parts")
    what.add_argument(
        "--merge",
        nargs=2,
        metavar="FILE",
        help="two learnt profiles of one part, as of two shops: no recordings",
    )
    add_good(parser)
    add_book(parser)
    parser.add_argument("--map", default="", metavar="TEXT", help=MAP_HELP)
    parser.add_argument("-o", "--output", metavar="FILE.toml", help="profile to write (default: only show)")
    parser.add_argument("--name", metavar="NAME", help="name of the new profile (default: the file's)")
    add_force(parser)
    add_json(parser)


@dataclass
class _Result:
    """What was learnt, the profile that it goes into, units and titles of findings, recordings left out."""

    learnt: Learnt
    source: str
    base: Profile
    specimens: Sequence[Specimen] = ()
    left: list[str] = field(default_factory=list)

    @property
    def names(self) -> dict[str, tuple[str, str]]:
        """Finding -> title and unit, of those that the recordings hold and that were learnt before."""
        before = {
            key: (limit.learnt.title, limit.learnt.in_unit)
            for key, limit in self.base.findings.items() if limit.learnt
        }  # fmt: skip
        now = {each.key: (each.title, each.unit) for part in self.specimens for each in part.findings}
        return {**before, **now}


def run(args: argparse.Namespace) -> int:
    """Do it; the recordings are not changed."""
    result = _merged(args) if args.merge else _learnt(args)
    _refuse_strangers(result)
    if args.output:
        write_profile(
            args.output, result.source, result.learnt, result.names, name=args.name, force=args.force
        )
    if args.json:
        print_json(_as_json(args, result))
    else:
        _show(result, args.output)
    return 0


def _learnt(args: argparse.Namespace) -> _Result:
    import sys

    from strokebench.commands.shared.good import candidates, chosen, read_all
    from strokebench.errors import DataError
    from strokebench.parts import load_part
    from strokebench.verdict.learning.learn import forgetful, learn

    source = args.add or args.part
    base = load_part(source)
    if args.add and base.learnt is None:
        raise DataError(f"{args.add} was not learnt from good parts.", "Begin with --part.")
    base = base if args.add else forgetful(base)
    found = candidates(args.files or [args.book], base, args.map)
    good, left = chosen(found, args.good, args.without)
    specimens = read_all(good, show=sys.stderr.isatty() and not args.json)
    return _Result(learn(specimens, base, args.keep.split(",")), source, base, specimens, left)


def _merged(args: argparse.Namespace) -> _Result:
    from strokebench.errors import UsageError
    from strokebench.parts import load_part
    from strokebench.verdict.learning.merging import merge

    if args.files or args.good:
        raise UsageError("--merge needs no recordings.", "Leave files and --good out, or use --add.")
    first, second = (load_part(file) for file in args.merge)
    return _Result(merge(first, second, args.keep.split(",")), args.merge[0], first)


def _refuse_strangers(result: _Result) -> None:
    """DataError when a part does not seem to belong: nothing is learnt until somebody has looked at it."""
    from strokebench.errors import DataError

    strange = result.learnt.strangers
    if not strange:
        return
    said = "; ".join(_strange(each, *result.names[each.key]) for each in strange)
    who = ",".join(each.serial for each in strange)
    raise DataError(
        f"Of the good parts, {'this does' if len(strange) == 1 else 'these do'} not seem to belong: {said}.",
        f"Look at it again. Leave it out with --without {who}, or count it with --keep {who}.",
    )


def _strange(each: Stranger, title: str, unit: str) -> str:
    value = f"{title.lower()} {each.value:.3g} {unit}".rstrip()
    return f"{each.serial} ({value}, the others {each.others:.3g})"


def _as_json(args: argparse.Namespace, result: _Result) -> dict[str, Any]:
    learnt = result.learnt
    return {
        "parts": [part.model_dump() for part in learnt.parts],
        "limits": [_row(limit) for limit in learnt.limits],
        "left": learnt.left,
        "recordings_left_out": result.left,
        "profile": args.output,
    }


def _row(limit: LearntLimit) -> dict[str, Any]:
    more = limit.more or (None, None)
    return {
        "key": limit.key, "parts": limit.sums.parts, "centre": limit.centre, "lower": limit.lower,
        "upper": limit.upper, "scale": limit.scale.kind, "mean": limit.sums.mean,
        "squares": limit.sums.squares, "spread": limit.spread, "u": limit.u, "more_parts": more[0],
        "closer_by": more[1],
    }  # fmt: skip


def _show(result: _Result, path: str | None) -> None:
    from rich.table import Table

    from strokebench.terminal.console import console
    from strokebench.verdict.learning.writing import rounded

    screen, learnt = console(), result.learnt
    table = Table(box=None, pad_edge=False, header_style="bold", padding=(0, 1, 0, 0))
    table.add_column("finding", overflow="fold")
    for name in ("parts", "middle", "lower", "upper", "closer with"):
        table.add_column(name, justify="right", no_wrap=True)
    for limit in learnt.limits:
        ends = ["" if x is None else f"{rounded(x, limit.centre):g}" for x in (limit.lower, limit.upper)]
        title, unit = result.names.get(limit.key, (limit.key, ""))
        more = "" if limit.more is None else f"{limit.more[0]} more"
        table.add_row(
            f"{title}, {unit}".rstrip(", "), str(limit.sums.parts), f"{limit.centre:.4g}", *ends, more
        )
    screen.print(table)
    for line in _remarks(result):
        screen.print(line, markup=False, highlight=False)
    if path:
        screen.print(f"Profile: {path}", markup=False, highlight=False)


def _remarks(result: _Result) -> list[str]:
    learnt = result.learnt
    lines = [f"From {len(learnt.parts)} good parts. Limits are for 12.6 V and 20 C; a verdict moves them."]
    if any(limit.more for limit in learnt.limits):
        lines.append('"Closer with": so many more good parts bring that limit a tenth nearer to the middle.')
    lines += [f"Left out: {each}." for each in result.left]
    of_bench = [key for key, why in learnt.left.items() if why.startswith("belongs")]
    lines += [
        f"Not learnt, its limit stays as it was: {key} ({why})."
        for key, why in learnt.left.items()
        if key not in of_bench
    ]
    if of_bench:
        lines.append(f"Of bench and supply, not of the part: {', '.join(of_bench)}.")
    return lines

"""The actions of ``lake`` that make limits: from a lake, or from what workshops exchange."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from strokebench.commands.shared.common import add_force, print_json
from strokebench.commands.shared.profiles import write_profile
from strokebench.commands.shared.tables import count_up, show_table

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from strokebench.lake.benches import Suspect
    from strokebench.lake.limits import FleetLimits
    from strokebench.lake.readings import Good
    from strokebench.parts.profile import Profile

BEYOND = 0.01
"""Share of good parts beyond the limits of one finding from which on its spread is not what was thought."""


def _add_part(parser: argparse.ArgumentParser) -> None:
    text = "the profile that the runs were made with"
    parser.add_argument("--part", required=True, metavar="PART|FILE.toml", help=text)
    text = "the part's name in the lake (default: the profile's)"
    parser.add_argument("--called", default="", metavar="NAME", help=text)
    parser.add_argument("--without", default="", metavar="LIST", help="benches to leave out, by pseudonym")


def _add_profile(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("-o", "--output", metavar="FILE.toml", help="profile to write (default: only show)")
    parser.add_argument("--name", metavar="NAME", help="name of the new profile (default: the file's)")
    add_force(parser)


def _add_limits(parser: argparse.ArgumentParser) -> None:
    _add_part(parser)
    text = "benches that count although they are apart or drift, by pseudonym"
    parser.add_argument("--keep", default="", metavar="LIST", help=text)
    text = "by counts, means and variances instead of the mixed model: quicker, nearly the same"
    parser.add_argument("--quick", action="store_true", help=text)
    _add_profile(parser)


def _limits(args: argparse.Namespace) -> int:
    from strokebench.lake.benches import apart, drifting
    from strokebench.lake.limits import fleet_limits
    from strokebench.lake.readings import units_of
    from strokebench.lake.spreads import by_model, by_moments, tallies

    base, good = _read(args)
    counted = {key: tallies(column) for key, column in good.columns.items()}
    spreads = {}
    with count_up("findings", quiet=args.json, total=100) as heard:
        for number, (key, column) in enumerate(good.columns.items()):
            heard(number, len(good.columns))
            spreads[key] = by_moments(counted[key]) if args.quick else by_model(column)
    scales = {key: column.scale for key, column in good.columns.items()}
    suspects = [*drifting(good.columns, spreads), *apart(counted, spreads, scales)]
    _refuse(suspects, args.keep.split(","))
    found = fleet_limits(spreads, base, good.shops, good.runs)
    return _finish(args, base, found, units_of(good.columns), [f"Left out: {each}." for each in good.left])


def _read(args: argparse.Namespace) -> tuple[Profile, Good]:
    from strokebench.lake.place import open_place
    from strokebench.lake.readings import good_readings
    from strokebench.parts import load_part
    from strokebench.verdict.learning.learn import forgetful

    base = forgetful(load_part(args.part))
    without = frozenset(name.strip() for name in args.without.split(",") if name.strip())
    return base, good_readings(open_place(args.lake), args.called or base.name, base, without)


def _refuse(suspects: Sequence[Suspect], keep: Sequence[str]) -> None:
    """DataError when a bench does not measure as the fleet does: nothing is learnt until it was looked at."""
    from strokebench.errors import DataError

    strange = {each.bench: each for each in reversed(suspects) if each.bench not in keep}
    if not strange:
        return
    said = "; ".join(f"bench {each.bench} {_said(each)}" for each in strange.values())
    who = ",".join(strange)
    raise DataError(
        f"{'This bench does' if len(strange) == 1 else 'These benches do'} not measure as the fleet: {said}.",
        f"Have it checked. Leave it out with --without {who}, or count it with --keep {who}.",
    )


def _said(each: Suspect) -> str:
    what = "is apart" if each.how == "apart" else "drifts"
    return f"{what} ({each.key.replace('_', ' ')}: {100 * each.by:+.2g} % or hundredths of its unit)"


def _add_summary(parser: argparse.ArgumentParser) -> None:
    _add_part(parser)
    parser.add_argument("-o", "--output", required=True, metavar="FILE.json", help="file to write")
    add_force(parser)


def _summary(args: argparse.Namespace) -> int:
    from strokebench.data.output import write_whole
    from strokebench.lake.summary import SKETCH_FROM, summary_of

    base, good = _read(args)
    found = summary_of(good, args.called or base.name, base)
    write_whole(Path(args.output), found.model_dump_json(indent=1) + "\n", replace=args.force)
    sketches = sum(bool(each.sketch) for each in found.findings.values())
    if args.json:
        print_json({"file": args.output, "findings": len(found.findings), "sketches": sketches})
        return 0
    print(f"{args.output}: counts, means and variances of {len(found.findings)} findings by bench.")
    if not sketches:
        print(f"No sketches of quantiles: fewer than {SKETCH_FROM} parts would give single values away.")
    return 0


def _add_together(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("files", nargs="+", metavar="FILE.json", help="summaries of workshops")
    text = "the profile that the runs were made with"
    parser.add_argument("--part", required=True, metavar="PART|FILE.toml", help=text)
    text = "benches that count although they are apart, by pseudonym"
    parser.add_argument("--keep", default="", metavar="LIST", help=text)
    _add_profile(parser)


def _together(args: argparse.Namespace) -> int:
    from strokebench.lake import summary
    from strokebench.lake.benches import apart
    from strokebench.lake.limits import fleet_limits
    from strokebench.lake.spreads import by_moments
    from strokebench.parts import load_part
    from strokebench.verdict.learning.learn import forgetful
    from strokebench.verdict.learning.readings import learnable

    base = forgetful(load_part(args.part))
    files = [summary.read_summary(file) for file in args.files]
    scales = learnable(base)
    tallies = {key: each for key, each in summary.together(files, base).items() if key in scales}
    spreads = {key: by_moments(each) for key, each in tallies.items()}
    _refuse(apart(tallies, spreads, scales), args.keep.split(","))
    shops = sorted({shop for file in files for shop in file.shops})
    found = fleet_limits(spreads, base, shops, sum(file.runs for file in files))
    remarks = []
    for limit in found.learnt.limits:
        sketch = summary.pooled_sketch(files, limit.key)
        ends = [None if end is None else limit.scale.to(end)[0] for end in (limit.lower, limit.upper)]
        share = 0.0 if sketch is None else summary.beyond(sketch, ends[0], ends[1]) - summary.rank_error()
        if share > BEYOND:
            remarks.append(f"{limit.key}: more than {share:.1%} of the good parts are beyond its limits.")
    return _finish(args, base, found, summary.units(files), remarks)


def _finish(
    args: argparse.Namespace, base: Profile, found: FleetLimits, names: Mapping[str, tuple[str, str]],
    remarks: list[str],
) -> int:  # fmt: skip
    if args.output:
        write_profile(args.output, args.part, found.learnt, names, name=args.name, force=args.force)
    if args.json:
        print_json(_as_json(found, remarks, args.output))
        return 0
    _show(found, names)
    fleet = found.learnt.fleet
    assert fleet is not None
    print(
        f"From {fleet.parts:,} good parts on {fleet.benches} benches, {fleet.runs:,} runs, {len(fleet.shops)}"
        f" workshops. Limits are for 12.6 V and 20 C; a verdict moves them."
    )
    for line in remarks:
        print(line)
    if args.output:
        print(f"Profile: {args.output}")
    return 0


def _as_json(found: FleetLimits, remarks: list[str], path: str | None) -> dict[str, Any]:
    from strokebench.lake.limits import bench_u

    return {
        "limits": [
            {"key": each.key, "lower": each.lower, "upper": each.upper, "centre": each.centre,
             "scale": each.scale.kind, **vars(found.spreads[each.key]),
             "bench_u": bench_u(found.spreads[each.key])}
            for each in found.learnt.limits
        ],
        "left": found.learnt.left, "remarks": remarks, "profile": path,
    }  # fmt: skip


def _show(found: FleetLimits, names: Mapping[str, tuple[str, str]]) -> None:
    from strokebench.verdict.learning.writing import rounded

    rows = []
    for each in found.learnt.limits:
        spreads = found.spreads[each.key]
        ends = ["" if end is None else f"{rounded(end, each.centre):g}" for end in (each.lower, each.upper)]
        shares = [_share(value, each.scale.kind) for value in (spreads.part, spreads.bench, spreads.repeat)]
        title, unit = names.get(each.key, (each.key, ""))
        rows.append((f"{title}, {unit}".rstrip(", "), f"{each.centre:.4g}", *ends, *shares))
    show_table(("finding", "middle", "lower", "upper", "part", "bench", "repeat"), rows)
    print("Part, bench, repeat: standard deviation from part to part, bench to bench, and repeat to repeat.")


def _share(value: float, scale: str) -> str:
    return f"{100 * value:.2g} %" if scale == "log" else f"{value:.2g}"


ACTIONS: dict[str, tuple[str, Any, Any, bool]] = {
    "limits": ("Make limits from the good parts of all benches", _add_limits, _limits, True),
    "summary": ("Write what workshops may exchange instead of recordings", _add_summary, _summary, True),
    "together": ("Make limits from the summaries of several workshops", _add_together, _together, False),
}

"""Whether stated uncertainties are true, counted: ``python -m tools.evidence.coverage``.

Strokes good specimens of both families of simulated parts on a bench as built (so that its errors are those
that its stated uncertainties allow for), lays each finding beside the truth, and puts moderate and severe
defects into the family that nothing was tuned on. Writes docs/coverage.md. Each finished trial is kept in a
file at once; started again, it goes on where it was. ``--scheduler`` names a Dask scheduler that does the
work instead of this computer's cores; the page is the same.
"""

from __future__ import annotations

import argparse
from pathlib import Path

from strokebench.bench.spec import FAMILIES, SimSpec
from strokebench.sim.trials import plan

from tools import DOCS
from tools.evidence.options import GRADES, add_no_more, add_parts, add_work, parts_of
from tools.evidence.workers import Record, gather

FIRST_SEED = 88_001
"""Nothing was tuned on seeds from here on, in either family."""


def main(arguments: list[str] | None = None) -> int:
    """Command line; returns 0."""
    parser = argparse.ArgumentParser(prog="python -m tools.evidence.coverage", description=__doc__)
    add_parts(parser)
    parser.add_argument("--family", choices=(*FAMILIES, "both"), default="both")
    parser.add_argument("--good", type=int, default=200, help="good specimens of each part (default 200)")
    parser.add_argument(
        "--each", type=int, default=3, help="trials of each defect and grade, second family (default 3)"
    )
    parser.add_argument("--first-seed", type=int, default=FIRST_SEED)
    add_work(parser, "coverage")
    add_no_more(parser)
    parser.add_argument(
        "--out", type=Path, help="page (default: of all parts docs/coverage.md, else in --kept)"
    )
    parser.add_argument("--note", default="", help="a paragraph for the page")
    args = parser.parse_args(arguments)
    from tools.evidence.coverage_page import page

    args.kept.mkdir(parents=True, exist_ok=True)
    families = FAMILIES if args.family == "both" else (args.family,)
    records: dict[tuple[str, str], list[Record]] = {}
    for part in parts_of(args):
        for family in families:
            print(part, family, flush=True)
            like = SimSpec(family=family, as_built=True)
            trials = plan(
                part, args.good, args.each if family == "second" else 0, args.first_seed, like, GRADES
            )
            path = args.kept / f"{part}-{family}.jsonl"
            records[part, family] = gather(trials, path, args)
    whole = args.part == "all" and args.family == "both"
    out = args.out or (DOCS / "coverage.md" if whole else args.kept / "coverage.md")
    out.write_text(page(records, args.first_seed, args.note), encoding="utf-8", newline="\n")
    print(f"Written: {out}")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())

"""Whether learnt limits hold, counted: ``python -m tools.evidence.learning``.

Strokes good specimens of both families of simulated parts at supplies from 11 to 14.5 V and temperatures from 0 to
45 C, and specimens with moderate defects. Draws some of the good ones again and again, learns limits from them, and
counts what the others do. Writes docs/learned-limits.md. With ``--tune`` it makes the prior instead: good specimens on
seeds for tuning, written to ``host/strokebench/verdict/learning/spreads.json``. Each finished trial is kept in a file
at once; started again, it goes on where it was.
"""

from __future__ import annotations

import argparse
from pathlib import Path

from strokebench.bench.spec import FAMILIES, SimSpec
from strokebench.parts import load_part
from strokebench.sim.trials import plan

from tools import DOCS
from tools.evidence.learning.page import page
from tools.evidence.learning.spreads import spreads, write
from tools.evidence.options import add_parts, add_work, parts_of
from tools.evidence.workers import Record, run

FIRST_SEED = 72_001
"""Nothing was tuned on seeds from here on; those of coverage and naming lie below, those of pairs above."""
TUNING_SEED, TUNING_GOOD = 3001, 12
GRADE = ("moderate",)


def main(arguments: list[str] | None = None) -> int:
    """Command line; returns 0."""
    parser = argparse.ArgumentParser(prog="python -m tools.evidence.learning", description=__doc__)
    add_parts(parser)
    parser.add_argument("--good", type=int, default=30, help="good specimens of each part and family (default 30)")
    parser.add_argument("--each", type=int, default=1, help="specimens of each moderate defect (default 1)")
    parser.add_argument("--draws", type=int, default=30, help="draws of good parts of each number (default 30)")
    parser.add_argument("--tune", action="store_true", help="make the prior from seeds for tuning")
    add_work(parser, "learning")
    parser.add_argument("--out", type=Path, help="page (default: of all parts docs/learned-limits.md, else in --kept)")
    args = parser.parse_args(arguments)
    args.kept.mkdir(parents=True, exist_ok=True)
    records = {(part, family): _trials(args, part, family) for part in parts_of(args) for family in FAMILIES}
    if args.tune:
        write({
            load_part(part).kind: spreads({family: records[part, family] for family in FAMILIES}, part)
            for part in parts_of(args)
        })  # fmt: skip
        return 0
    out = args.out or (DOCS / "learned-limits.md" if args.part == "all" else args.kept / "learned-limits.md")
    seeds = (FIRST_SEED, TUNING_SEED, TUNING_SEED + TUNING_GOOD - 1)
    out.write_text(page(records, seeds, args.draws), encoding="utf-8", newline="\n")
    print(f"Written: {out}")
    return 0


def _trials(args: argparse.Namespace, part: str, family: str) -> list[Record]:
    """The records of one part and family; a defect without sizes counts as severe, and is left out."""
    print(part, family, flush=True)
    good, each, seed = (TUNING_GOOD, 0, TUNING_SEED) if args.tune else (args.good, args.each, FIRST_SEED)
    trials = plan(part, good, each, seed, SimSpec(family=family, as_built=True), GRADE)
    wanted = [trial for trial in trials if trial.grade in ("good", *GRADE)]
    name = f"{'tuning-' if args.tune else ''}{part}-{family}.jsonl"
    return run(wanted, args.kept / name, args.jobs, scheduler=args.scheduler)


if __name__ == "__main__":
    raise SystemExit(main())

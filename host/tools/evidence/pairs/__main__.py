"""Two defects at once, counted: ``python -m tools.evidence.pairs``.

Puts all pairs of defects that can be there together into specimens of both families of simulated parts, on
seeds that nothing was tuned on, and writes docs/pairs.md: how often both are named, at least one, a third
invented, and whether the probabilities of the hypotheses are true. Each finished trial is kept in a file at
once; started again, it goes on where it was. ``--scheduler`` names a Dask scheduler that does the work
instead of this computer's cores.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from pathlib import Path

from strokebench.bench.spec import FAMILIES, SimSpec
from strokebench.sim.trials import Trial

from tools import DOCS
from tools.evidence.options import GRADES, add_no_more, add_parts, add_work, parts_of
from tools.evidence.pairs.page import page
from tools.evidence.pairs.plan import injected, pairs
from tools.evidence.workers import Record, gather

FIRST_SEED = 95_001
"""Nothing was tuned on seeds from here on, in either family."""


def main(arguments: list[str] | None = None) -> int:
    """Command line; returns 0."""
    parser = argparse.ArgumentParser(prog="python -m tools.evidence.pairs", description=__doc__)
    add_parts(parser)
    parser.add_argument(
        "--specimens",
        type=int,
        default=10,
        help="of each pair and grade, of both families in turn (default 10)",
    )
    add_no_more(parser)
    add_work(parser, "pairs")
    parser.add_argument("--out", type=Path, default=DOCS / "pairs.md")
    args = parser.parse_args(arguments)
    args.kept.mkdir(parents=True, exist_ok=True)
    records: dict[str, list[Record]] = {}
    planned = 0
    for part in parts_of(args):
        print(part, flush=True)
        path = args.kept / f"{part}.jsonl"
        some = list(trials(part, args.specimens))
        planned += len(some)
        records[part] = gather(some, path, args)
    args.out.write_text(page(records, planned, args.specimens, FIRST_SEED), encoding="utf-8", newline="\n")
    print(f"Written: {args.out}")
    return 0


def trials(part: str, specimens: int) -> Iterator[Trial]:
    """Yield the trials of a part: of each pair and grade so many specimens, both families in turn."""
    for number, names in enumerate(pairs(part)):
        for place, grade in enumerate(GRADES):
            for specimen in range(specimens):
                family = FAMILIES[(number + place + specimen) % len(FAMILIES)]
                seed = FIRST_SEED + 100 * number + specimen
                yield injected(part, names, grade, seed, SimSpec(family=family))


if __name__ == "__main__":
    raise SystemExit(main())

"""How often the diagnosis is right, counted: ``python -m tools.evidence.accuracy``.

Strokes simulated parts by the hundred on all cores, shows progress, and writes docs/accuracy.md. Each
finished trial is kept in a file at once; started again, it goes on where it was.
"""

from __future__ import annotations

import argparse
import os
from pathlib import Path

from strokebench.bench.spec import BENCHES, SimSpec
from strokebench.sim.trials import FIRST_REPORTING_SEED, plan

from tools import DOCS, ROOT
from tools.evidence.again import judged_again
from tools.evidence.options import add_parts, parts_of
from tools.evidence.workers import run


def main(arguments: list[str] | None = None) -> int:
    """Command line; returns 0."""
    parser = argparse.ArgumentParser(prog="python -m tools.evidence.accuracy", description=__doc__)
    add_parts(parser)
    parser.add_argument("--good", type=int, default=100, help="good parts (default 100)")
    parser.add_argument("--each", type=int, default=8, help="trials per defect and grade (default 8)")
    parser.add_argument("--first-seed", type=int, default=FIRST_REPORTING_SEED)
    parser.add_argument("--jobs", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--kept", type=Path, default=ROOT / "accuracy-trials", help="folder of what is done")
    parser.add_argument(
        "--out", type=Path, help="page (default: of all parts docs/accuracy.md, else in --kept)"
    )
    parser.add_argument(
        "--simulator", default="", metavar="COMMAND",
        help="a Python that simulates, such as pypy3 with the packages numpy, pydantic, pyserial and rich",
    )  # fmt: skip
    parser.add_argument(
        "--bench", choices=BENCHES, default="reference", help="which bench (default: reference)"
    )
    parser.add_argument("--note", default="", help="a paragraph for the page")
    args = parser.parse_args(arguments)
    from tools.evidence.accuracy_page import write_page, write_small_page

    args.kept.mkdir(parents=True, exist_ok=True)
    records = {}
    for part in parts_of(args):
        print(part)
        trials = plan(part, args.good, args.each, args.first_seed, SimSpec(bench=args.bench))
        done = run(trials, args.kept / f"{part}.jsonl", args.jobs, args.simulator)
        records[part] = [judged_again(record) for record in done]
    out = args.out or (DOCS / "accuracy.md" if args.part == "all" else args.kept / f"{args.part}.md")
    tuned = FIRST_REPORTING_SEED - 1
    if args.bench == "small":
        write_small_page(
            records, args.first_seed, tuned, args.out or DOCS / "accuracy-small-bench.md", args.note
        )
        return 0
    write_page(records, args.first_seed, tuned, out, args.note)
    print(f"Written: {out}")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())

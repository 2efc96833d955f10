"""How rightly defects are named in parts that nobody tuned to: ``python -m tools.evidence.naming``.

Puts each defect, moderate and severe, into specimens of the second family of simulated parts, on a bench as
built, and writes docs/naming.md. Each finished trial is kept at once; started again, it goes on where it was.
"""

from __future__ import annotations

import argparse
from collections import Counter
from pathlib import Path

from strokebench.bench.spec import SimSpec
from strokebench.sim.trials import plan

from tools import DOCS
from tools.evidence.accuracy_page import defects, rightly_named
from tools.evidence.again import judged_again
from tools.evidence.options import GRADES, add_no_more, add_parts, add_work, parts_of
from tools.evidence.workers import Record, gather

FIRST_SEED = 93_001
"""Nothing was tuned on seeds from here on, and the coverage page has others."""
FAMILY = "second"
HEAD = """\
# Defects named in parts that nobody tuned to

This page counts how often the program names a defect in parts with a different physics from those it
was made with. So it shows how much of the skill is more than tuning. The first table has the whole, the
others each defect.

All parts are simulated. Made by `python -m tools.evidence.naming --each {each}` with seeds from {seed} on,
in the second family of parts (`host/strokebench/sim/second`): {trials} trials were run. No limit was tuned
on this family, and nothing was tuned on these seeds. The table of the effects of each defect was made from
both families, on other seeds. The authors of the estimators had read the code of the second family. Sizes
are those that `strokebench faults` lists. *Found* means that the verdict is fail. *Rightly named* means
that the program names this defect, and neither shows nor suspects another. In brackets is the 95 % Wilson
interval. The [coverage page](coverage.md) shows how often good specimens of this family fail. The first
family is on the [accuracy page](accuracy.md).
"""


def main(arguments: list[str] | None = None) -> int:
    """Command line; returns 0."""
    parser = argparse.ArgumentParser(prog="python -m tools.evidence.naming", description=__doc__)
    add_parts(parser)
    parser.add_argument("--each", type=int, default=10, help="trials of each defect and grade (default 10)")
    parser.add_argument("--first-seed", type=int, default=FIRST_SEED)
    add_no_more(parser)
    add_work(parser, "naming")
    parser.add_argument(
        "--out", type=Path, help="page (default: of all parts docs/naming.md, else in --kept)"
    )
    args = parser.parse_args(arguments)
    args.kept.mkdir(parents=True, exist_ok=True)
    like, records = SimSpec(family=FAMILY, as_built=True), {}
    for part in parts_of(args):
        print(part, flush=True)
        trials = plan(part, 0, args.each, args.first_seed, like, GRADES)
        done = gather(trials, args.kept / f"{part}.jsonl", args)
        records[part] = [judged_again(record) for record in done]
    out = args.out or (DOCS / "naming.md" if args.part == "all" else args.kept / "naming.md")
    out.write_text(page(records, args.each, args.first_seed), encoding="utf-8", newline="\n")
    print(f"Written: {out}")
    return 0


def page(records: dict[str, list[Record]], each: int, first_seed: int) -> str:
    """Return the page as Markdown: a summary, each part's table, and what else was named instead."""
    trials = sum(len(some) for some in records.values())
    head = HEAD.format(each=each, seed=first_seed, trials=trials)
    lines = [head, "| part | rightly named: moderate | severe |"]
    lines.append("| --- | --- | --- |")
    for part, some in records.items():
        cells = []
        for grade in GRADES:
            those = [record for record in some if record["grade"] == grade]
            cells.append(f"{sum(map(rightly_named, those))} of {len(those)}")
        lines.append(f"| {part} | {' | '.join(cells)} |")
    for part, some in records.items():
        lines += ["", f"## {part}", "", *defects(some), *_instead(some)]
    return "\n".join(lines) + "\n"


def _instead(some: list[Record]) -> list[str]:
    """One line for each wrong answer: what it was, and how often."""
    wrong = Counter(
        (record["name"], record["grade"], ", ".join(record["named"]))
        for record in some
        if record["verdict"] == "fail" and not rightly_named(record)
    )
    said = [
        f"- {name}, {grade}: {count} times {f'`{named}`' if named else 'no name'}."
        for (name, grade, named), count in wrong.items()
    ]
    return ["", "Named otherwise:", "", *said] if said else []


if __name__ == "__main__":
    raise SystemExit(main())

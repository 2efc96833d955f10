"""The table of what each defect does to the findings: ``python -m tools.evidence.effects``.

Puts each defect, and all pairs of defects that can be there together, into specimens of both families of
simulated parts, on seeds for tuning, and writes ``host/strokebench/verdict/effects.json``. Each finished
trial is kept in a file at once; started again, it goes on where it was.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator
from typing import Any

from strokebench.bench.spec import FAMILIES, SimSpec
from strokebench.parts import load_part, part_names
from strokebench.sim.plants import available
from strokebench.sim.trials import Trial, conditions
from strokebench.verdict.effects import FILE

from tools import ROOT
from tools.evidence.options import GRADES, add_no_more, add_work
from tools.evidence.pairs.plan import injected, pairs
from tools.evidence.shifts import effects_of
from tools.evidence.workers import gather

FIRST_SEED, FIRST_OF_PAIRS = 401, 2001
"""Seeds below 10000 are for tuning, in both families."""


def main(arguments: list[str] | None = None) -> int:
    """Command line; returns 0."""
    parser = argparse.ArgumentParser(prog="python -m tools.evidence.effects", description=__doc__)
    parser.add_argument("--specimens", type=int, default=4, help="of each defect, pair and grade (default 4)")
    add_no_more(parser)
    add_work(parser, "effects")
    args = parser.parse_args(arguments)
    args.kept.mkdir(parents=True, exist_ok=True)
    whole = {}
    for part in part_names():
        path, trials = args.kept / f"{part}.jsonl", list(plan(part, args.specimens))
        records = gather(trials, path, args)
        print(f"{part}: {len(records)} of {len(trials)} trials", flush=True)
        whole[load_part(part).kind] = effects_of(records)
    write(whole)
    return 0


def plan(part: str, specimens: int) -> Iterator[Trial]:
    """Yield good specimens and single defects in both families, and each pair severe in the one and moderate
    in the other family, in turn."""
    for number in range(specimens):
        for turn in range(2):
            for family in FAMILIES:
                yield Trial("good", "good", conditions(part, FIRST_SEED + number + 2 * turn, (), _of(family)))
        for place, kind in enumerate(available(part)):
            seed = FIRST_SEED + number + 100 * place
            for grade in GRADES if kind.moderate != kind.severe else ("severe",):
                for family in FAMILIES:
                    yield injected(part, (kind.name,), grade, seed, _of(family))
    for place, names in enumerate(pairs(part)):
        for number in range(specimens):
            seed, families = FIRST_OF_PAIRS + 100 * place + 2 * number, FAMILIES[:: (-1) ** (place + number)]
            yield injected(part, names, "severe", seed, _of(families[0]))
            yield injected(part, names, "moderate", seed + 1, _of(families[1]))


def _of(family: str) -> SimSpec:
    return SimSpec(family=family)


def write(whole: dict[str, Any]) -> None:
    """Write the table, a line for each finding."""
    out = ROOT / "host" / "strokebench" / "verdict" / FILE
    out.write_text(json.dumps(whole, indent=1, sort_keys=True) + "\n", encoding="utf-8", newline="\n")


if __name__ == "__main__":
    raise SystemExit(main())

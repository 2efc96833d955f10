"""The table of what each defect does to the findings: ``python -m tools.evidence.effects``.

Puts each defect, moderate and severe, into specimens of both families of simulated parts, on seeds for
tuning, and writes ``host/strokebench/verdict/effects.json``. Each finished trial is kept in a file at once;
started again, it goes on where it was.
"""

from __future__ import annotations

import argparse
import json
from typing import Any

import numpy as np
from strokebench.bench.spec import FAMILIES, SimSpec
from strokebench.data.findings import Finding
from strokebench.diagnose.stats import t_factor
from strokebench.parts import load_part, part_names
from strokebench.sim.plants import available
from strokebench.verdict.effects import FILE, LEAST_SHARE, LEAST_SPREAD, in_tolerance

from tools import ROOT
from tools.evidence.options import GRADES, add_work
from tools.evidence.pairs.plan import plan
from tools.evidence.workers import Record, run

FIRST_SEED = 401
"""Seeds 401 to 670 are for tuning, in both families."""
WORTH = 0.1
"""Shifts smaller than this, in tolerances, are left out of the table unless they stand out of the spread."""


def main(arguments: list[str] | None = None) -> int:
    """Command line; returns 0."""
    parser = argparse.ArgumentParser(prog="python -m tools.evidence.effects", description=__doc__)
    parser.add_argument(
        "--specimens", type=int, default=2, help="of each defect, grade and family (default 2)"
    )
    add_work(parser, "effects")
    args = parser.parse_args(arguments)
    args.kept.mkdir(parents=True, exist_ok=True)
    whole = {}
    for part in part_names():
        by_family: dict[str, list[Record]] = {}
        for family in FAMILIES:
            sets: list[tuple[str, ...]] = [(kind.name,) for kind in available(part)]
            seeds = range(FIRST_SEED, FIRST_SEED + args.specimens)
            trials = plan(part, sets, seeds, SimSpec(family=family), good=2 * args.specimens)
            path = args.kept / f"{part}-{family}.jsonl"
            by_family[family] = run(trials, path, args.jobs, scheduler=args.scheduler)
        whole[load_part(part).kind] = {family: effects_of(records) for family, records in by_family.items()}
    write(whole)
    return 0


def write(whole: dict[str, Any]) -> None:
    """Write the table, a line for each finding."""
    out = ROOT / "host" / "strokebench" / "verdict" / FILE
    out.write_text(json.dumps(whole, indent=1, sort_keys=True) + "\n", encoding="utf-8", newline="\n")


def effects_of(records: list[Record]) -> dict[str, Any]:
    """Return the effects of one part's records, as the file has them."""
    good = {key: _middle(values) for key, values in _values(records, "good").items()}
    defects: dict[str, dict[str, list[float]]] = {}
    for name in dict.fromkeys(record["name"] for record in records if record["name"] != "good"):
        some = [record for record in records if record["name"] == name]
        by_grade = [_values(some, grade) for grade in GRADES]
        rows = {}
        for key, (mean, spread) in good.items():
            moderate, severe = (_shift(values.get(key, []), mean) for values in by_grade)
            if severe is not None:
                row = [*(moderate or severe), *severe]
                if max(abs(row[0]), abs(row[2])) > max(WORTH, 3 * spread) or max(row[1], row[3]) > 1:
                    rows[key] = [round(number, 3) for number in row]
        defects[name] = rows
    return {"good": good, "defects": defects}


def _values(records: list[Record], grade: str) -> dict[str, list[float]]:
    """In tolerances, by finding, of all records of a grade."""
    found: dict[str, list[float]] = {}
    for record in records:
        for reading in record.get("readings", []) if record["grade"] == grade else []:
            value, _ = in_tolerance(as_finding(reading))
            if np.isfinite(value) and not (reading["lower"] is None and reading["upper"] is None):
                found.setdefault(reading["key"], []).append(value)
    return found


def as_finding(reading: dict[str, Any]) -> Finding:
    """Return a reading of a record as the finding it was."""
    fields = {name: reading[name] for name in ("value", "u", "lower", "upper", "place", "reason")}
    evidence = {"gate": True} if reading["gate"] else {}
    return Finding(
        reading["key"], reading["key"], unit="", fault=reading["fault"], evidence=evidence, **fields
    )


def _middle(values: list[float]) -> tuple[float, float]:
    spread = float(np.std(values, ddof=1)) * few(len(values)) if len(values) > 1 else 0.0
    return round(float(np.median(values)), 4), round(max(spread, LEAST_SPREAD), 4)


def _shift(values: list[float], mean: float) -> tuple[float, float] | None:
    """Median shift and spread; None where the finding is unknown with the defect."""
    if not values:
        return None
    shift = float(np.median(values)) - mean
    spread = float(np.std(values, ddof=1)) if len(values) > 1 else 0.0
    return shift, max(spread * few(len(values)), LEAST_SHARE * abs(shift))


def few(count: int) -> float:
    """Student's factor by which a spread from few specimens is widened, 2 at most."""
    return min(2.0, t_factor(count - 1)) if count > 1 else 1.0


if __name__ == "__main__":
    raise SystemExit(main())

"""Recordings from elsewhere with known truth: ``python -m tools.evidence.foreign.corpus``, from the folder
host.

Parts of the second family of simulated parts, good and with severe defects, are moved and switched by hand
(:mod:`tools.evidence.foreign.scenes`), recorded with instruments that have errors of their own, written in
one of the dialects after the other, and judged by the same code as ``strokebench judge FILE.csv``. Writes
docs/foreign.md. Each finished file is kept at once; started again, it goes on where it was.
"""

from __future__ import annotations

import argparse
import json
import tempfile
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from strokebench.bench.spec import SimSpec
from strokebench.errors import StrokebenchError
from strokebench.sim.trials import plan

from tools import DOCS
from tools.evidence.foreign import scenes
from tools.evidence.foreign.dialects import DIALECTS, mapping, write
from tools.evidence.foreign.page import page
from tools.evidence.options import add_work

FIRST_SEED = 73_001
"""Nothing was tuned on seeds from here on; what was, was on seeds below 700."""
PARTS = tuple(scenes.HANDLED)
NOT_OF_PART = ("weak_battery",)
"""Defects of the supply, not of the part."""


@dataclass(frozen=True)
class Scene:
    """``part`` of ``spec`` with the defect ``name`` ("good": none), handled in the ``way`` of that name,
    with the volts recorded or not, written in the ``dialect`` of that number."""

    part: str
    name: str
    spec: SimSpec
    way: str
    volts: bool
    dialect: int

    @property
    def key(self) -> str:
        """Identity for resuming."""
        return f"{self.part}/{self.name}/{self.spec.seed}/{self.way}/{'volts' if self.volts else 'no volts'}"


def scenes_of(parts: tuple[str, ...], good: int, each: int, first_seed: int) -> Iterator[Scene]:
    """Yield the whole corpus, in a fixed order; dialects take turns."""
    number = 0
    for part in parts:
        for trial in plan(part, good, each, first_seed, SimSpec(family="second"), ("severe",)):
            if trial.name in NOT_OF_PART:
                continue
            for way in scenes.HANDLED[part]:
                volts = bool((trial.spec.seed + list(scenes.HANDLED[part]).index(way)) % 2)
                yield Scene(part, trial.name, trial.spec, way, volts, number % len(DIALECTS))
                number += 1


def examine(scene: Scene) -> dict[str, Any]:
    """Make a recording, write and read it, judge it; return what was found beside what is true."""
    from strokebench.foreign.labelling import find_stretches
    from strokebench.foreign.read import read_csv
    from strokebench.parts import load_part
    from strokebench.verdict import named_faults
    from strokebench.verdict.examine import examine as judged

    draws = (scene.spec.seed, 7, list(scenes.HANDLED[scene.part]).index(scene.way))
    handled = scene.part, scene.way, scene.volts
    table = scenes.recorded(scene.part, scene.spec, scene.way, scene.volts, np.random.default_rng(draws))
    record = {
        "key": scene.key, "part": scene.part, "name": scene.name, "way": scene.way, "volts": scene.volts,
        "dialect": DIALECTS[scene.dialect].name,
        "shown": scenes.shown(scene.part, scene.name, scene.way, scene.volts)
        and not (scene.name == "worn_track" and scenes.jumped_over(table, scene.spec, handled, draws)),
    }  # fmt: skip
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "any.csv"
        path.write_bytes(write(DIALECTS[scene.dialect], table))
        try:
            profile = load_part(scene.part)
            findings, verdict = judged(
                find_stretches(read_csv(path, mapping(DIALECTS[scene.dialect], table)), profile), profile
            )
        except StrokebenchError as error:
            return record | {"verdict": "refused", "named": [], "why": str(error)}
    return record | {
        "verdict": verdict.value,
        "named": named_faults(findings),
        "passed": sum(finding.verdict.value == "pass" for finding in findings),
    }


def run(wanted: list[Scene], kept: Path, jobs: int) -> list[dict[str, Any]]:
    """Return the records of all scenes; those that ``kept`` holds are not made again."""
    from rich.progress import Progress

    lines = kept.read_text(encoding="utf-8").splitlines() if kept.exists() else []
    done = {record["key"]: record for record in map(json.loads, lines)}
    todo = [scene for scene in wanted if scene.key not in done]
    with Progress() as progress, kept.open("a", encoding="utf-8") as file, ProcessPoolExecutor(jobs) as pool:
        for record in progress.track(pool.map(examine, todo), total=len(todo), description="Recordings"):
            done[record["key"]] = record
            file.write(json.dumps(record) + "\n")
            file.flush()
    return [done[scene.key] for scene in wanted]


def main(arguments: list[str] | None = None) -> int:
    """Command line; returns 0."""
    parser = argparse.ArgumentParser(prog="python -m tools.evidence.foreign.corpus", description=__doc__)
    parser.add_argument("--part", default=",".join(PARTS), help="parts with commas (default: all)")
    parser.add_argument("--good", type=int, default=10, help="good specimens of each part (default 10)")
    parser.add_argument("--each", type=int, default=4, help="specimens of each defect (default 4)")
    parser.add_argument("--first-seed", type=int, default=FIRST_SEED)
    add_work(parser, "foreign")
    parser.add_argument("--out", type=Path, default=DOCS / "foreign.md", help="page (default: %(default)s)")
    args = parser.parse_args(arguments)
    args.kept.mkdir(parents=True, exist_ok=True)
    wanted = list(scenes_of(tuple(args.part.split(",")), args.good, args.each, args.first_seed))
    records = run(wanted, args.kept / "recordings.jsonl", args.jobs)
    args.out.write_text(page(records, args), encoding="utf-8", newline="\n")
    print(f"Written: {args.out}")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())

"""How often the diagnosis is right, counted: ``python -m tools.evidence.accuracy``.

Strokes simulated parts by the hundred on all cores, shows progress, and writes docs/accuracy.md. Each
finished trial is kept in a file at once; started again, it goes on where it was.
"""

from __future__ import annotations

import argparse
import json
import os
from collections.abc import Iterable
from concurrent.futures import ProcessPoolExecutor, as_completed
from pathlib import Path
from typing import Any

from strokebench.sim.trial_worker import Simulator
from strokebench.sim.trials import FIRST_REPORTING_SEED, Simulate, Trial, examine, plan, stroke

from tools import DOCS, ROOT


def load(path: Path) -> dict[str, dict[str, Any]]:
    """Return the records kept so far by key; a last line that was cut off is left out."""
    records: dict[str, dict[str, Any]] = {}
    if path.exists():
        for line in path.read_text(encoding="utf-8").splitlines():
            try:
                record = json.loads(line)
            except json.JSONDecodeError:
                continue
            records[record["key"]] = record
    return records


def run(trials: Iterable[Trial], path: Path, jobs: int, simulator: str = "") -> list[dict[str, Any]]:
    """Run what is missing in ``path`` on ``jobs`` processes, and return the records of all ``trials``.

    ``simulator``: command of another Python that simulates; see :mod:`strokebench.sim.trial_worker`.
    """
    from rich.progress import Progress

    wanted = {trial.key: trial for trial in trials}
    records = load(path)
    todo = [trial for key, trial in wanted.items() if key not in records]
    if path.exists() and not path.read_bytes().endswith(b"\n"):  # cut off: begin a new line
        with path.open("a", encoding="utf-8") as file:
            file.write("\n")
    with (
        Progress() as progress,
        path.open("a", encoding="utf-8") as file,
        ProcessPoolExecutor(jobs, initializer=_use_simulator, initargs=(simulator,)) as pool,
    ):
        bar = progress.add_task("trials", total=len(wanted), completed=len(wanted) - len(todo))
        for done in as_completed([pool.submit(_examined, trial) for trial in todo]):
            record = done.result()
            records[record["key"]] = record
            file.write(json.dumps(record) + "\n")
            file.flush()
            progress.advance(bar)
    return [records[key] for key in wanted]


_simulate: Simulate = stroke
"""What simulates in this process."""


def _use_simulator(command: str) -> None:
    """Let another interpreter simulate this process's trials; empty: this one does."""
    global _simulate
    _simulate = Simulator(command).stroke if command else stroke


def _examined(trial: Trial) -> dict[str, Any]:
    return examine(trial, _simulate)


def main(arguments: list[str] | None = None) -> int:
    """Command line; returns 0."""
    parser = argparse.ArgumentParser(prog="python -m tools.evidence.accuracy", description=__doc__)
    parser.add_argument("--part", default="all", help="a part, several with commas, or all (default)")
    parser.add_argument("--good", type=int, default=300, help="good parts (default 300)")
    parser.add_argument("--each", type=int, default=34, help="trials per defect and grade (default 34)")
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
    parser.add_argument("--note", default="", help="a paragraph for the page")
    args = parser.parse_args(arguments)
    from strokebench.parts import part_names

    from tools.evidence.accuracy_page import write_page

    args.kept.mkdir(parents=True, exist_ok=True)
    records = {}
    for part in part_names() if args.part == "all" else args.part.split(","):
        print(part)
        trials = plan(part, args.good, args.each, args.first_seed)
        records[part] = run(trials, args.kept / f"{part}.jsonl", args.jobs, args.simulator)
    out = args.out or (DOCS / "accuracy.md" if args.part == "all" else args.kept / f"{args.part}.md")
    write_page(records, args.first_seed, FIRST_REPORTING_SEED - 1, out, args.note)
    print(f"Written: {out}")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())

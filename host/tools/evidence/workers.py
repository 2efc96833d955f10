"""Trials on many cores: processes of this computer, or a Dask scheduler whose address is given.

The same trials give the same records wherever they run; only their order differs.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor, as_completed
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from strokebench.errors import UsageError
from strokebench.sim.trial_worker import Simulator
from strokebench.sim.trials import Simulate, Trial, examine, stroke

Record = dict[str, Any]

_simulate: Simulate = stroke
"""What simulates in this process."""


def load(path: Path) -> dict[str, Record]:
    """Return the records kept so far by key; a last line that was cut off is left out."""
    records: dict[str, Record] = {}
    if path.exists():
        for line in path.read_text(encoding="utf-8").splitlines():
            try:
                record = json.loads(line)
            except json.JSONDecodeError:
                continue
            records[record["key"]] = record
    return records


def gather(trials: Iterable[Trial], path: Path, args: argparse.Namespace) -> list[Record]:
    """Return the records of ``trials``, run as the arguments ask for it; with ``--no-more`` those kept."""
    if not args.no_more:
        return run(trials, path, args.jobs, scheduler=args.scheduler)
    kept = load(path)
    return [kept[trial.key] for trial in trials if trial.key in kept]


def run(
    trials: Iterable[Trial], path: Path, jobs: int, simulator: str = "", scheduler: str = ""
) -> list[Record]:
    """Run what is missing in ``path`` and return the records of all ``trials`` in their order.

    On ``jobs`` processes, or on the Dask ``scheduler``. ``simulator``: command of another Python that
    simulates; see :mod:`strokebench.sim.trial_worker`.
    """
    from rich.progress import Progress

    wanted = {trial.key: trial for trial in trials}
    records = load(path)
    todo = [trial for key, trial in wanted.items() if key not in records]
    if path.exists() and not path.read_bytes().endswith(b"\n"):  # cut off: begin a new line
        with path.open("a", encoding="utf-8") as file:
            file.write("\n")
    place = _dask(scheduler) if scheduler else _processes(jobs, simulator)
    with Progress() as progress, path.open("a", encoding="utf-8") as file, place as examined:
        bar = progress.add_task("trials", total=len(wanted), completed=len(wanted) - len(todo))
        for record in examined(todo):
            # as JSON has it, so that a record is the same fresh and read again
            line = json.dumps(record)
            records[record["key"]] = json.loads(line)
            file.write(line + "\n")
            file.flush()
            progress.advance(bar)
    return [records[key] for key in wanted]


@contextmanager
def _processes(jobs: int, simulator: str) -> Iterator[Any]:
    with ProcessPoolExecutor(jobs, initializer=_use_simulator, initargs=(simulator,)) as pool:

        def examined(trials: list[Trial]) -> Iterator[Record]:
            for done in as_completed([pool.submit(_examined, trial) for trial in trials]):
                yield done.result()

        yield examined


@contextmanager
def _dask(address: str) -> Iterator[Any]:
    try:
        from distributed import Client
        from distributed import as_completed as finished
    except ImportError as error:
        raise UsageError(
            "A Dask scheduler needs the package distributed.", "pip install 'strokebench[fleet]'"
        ) from error
    with Client(address) as client:

        def examined(trials: list[Trial]) -> Iterator[Record]:
            # `examine` and Trial are in the wheel: the workers need strokebench and nothing of this folder
            for done in finished(client.map(examine, trials, pure=False)):
                yield done.result()

        yield examined


def _use_simulator(command: str) -> None:
    """Let another interpreter simulate this process's trials; empty: this one does."""
    global _simulate
    _simulate = Simulator(command).stroke if command else stroke


def _examined(trial: Trial) -> Record:
    return examine(trial, _simulate)

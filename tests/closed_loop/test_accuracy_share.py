"""A fixed share of the accuracy run (docs/accuracy.md), at its own seeds: every part and defect once.

For each part one good specimen and each of its defects at one size, moderate and severe by turns, so that
what several parts share is tried at both. The run itself counts hundreds of each.
"""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from strokebench.parts import load_part, part_names
from strokebench.sim.plants import available
from strokebench.sim.trials import FIRST_REPORTING_SEED, Trial, examine, plan
from strokebench.verdict.bench_fit import SUPPLY, WIRING_IS_THE_JOB

CHOSEN = {
    "throttle-body": ("binding", "lead_resistance", "worn_track"),
    "fuel-pump-fuse": ("supply_resistance", "ground_resistance", "lead_resistance", "dry"),
}
"""Fewer where another test tries the rest: test_throttle_matrix.py; the same pump at its own connector."""
PLACE_PERCENT = 2.0
"""How near a binding spot must be placed, % of travel: the accuracy run's goal."""


def share() -> Iterator[Trial]:
    for turn, part in enumerate(part_names()):
        planned = {(trial.name, trial.grade): trial for trial in plan(part, 1, 1, FIRST_REPORTING_SEED)}
        yield planned["good", "good"]
        for number, kind in enumerate(available(part), turn):
            if kind.name in CHOSEN.get(part, (kind.name,)):
                grade = ("moderate", "severe")[number % 2]
                yield planned.get((kind.name, grade)) or planned[kind.name, "severe"]


def cases() -> Iterator[object]:
    """A good specimen of each part is always tried, its defects with the slow tests."""
    for trial in share():
        yield pytest.param(trial, id=trial.key, marks=() if trial.name == "good" else pytest.mark.slow)


@pytest.mark.parametrize("trial", list(cases()))
def test_trial(trial: Trial) -> None:
    record = examine(trial)
    told = (record["verdict"], record["named"], record.get("failing"), record.get("unsure"))
    if trial.name == "good":
        assert record["verdict"] == "pass" and not record["named"], told
        return
    of_bench = trial.name in SUPPLY and load_part(trial.spec.part).kind not in WIRING_IS_THE_JOB
    wanted = "inconclusive" if of_bench else "fail"
    assert record["verdict"] == wanted and record["named"] == [trial.name], told
    if trial.name == "binding":
        assert abs(record["errors"]["place"]) <= PLACE_PERCENT

"""A small fixed share of the accuracy run (docs/accuracy.md), at its own seeds: it is as good as it was.

For each part two good specimens and every third of its severe defects, the first seeds of the reported run.
"""

from __future__ import annotations

import pytest
from strokebench.parts import part_names
from strokebench.sim.trials import FIRST_REPORTING_SEED, Trial, examine, plan


def share() -> list[Trial]:
    found = []
    for number, part in enumerate(part_names()):
        planned = list(plan(part, 2, 1, FIRST_REPORTING_SEED))
        severe = list({one.name: one for one in planned if one.grade == "severe"}.values())
        found += [one for one in planned if one.name == "good"] + severe[number % 3 :: 3]
    return found


@pytest.mark.parametrize("trial", [pytest.param(one, id=one.key) for one in share()])
def test_trial(trial: Trial) -> None:
    record = examine(trial)
    told = (record["verdict"], record["named"], record.get("failing"), record.get("unsure"))
    if trial.name == "good":
        assert record["verdict"] == "pass" and not record["named"], told
    else:
        assert record["verdict"] == "fail" and record["named"] == [trial.name], told

"""What the built-in parts' procedures make known is what the questions declare; each key has its group."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from strokebench.bench.spec import SimSpec
from strokebench.data.findings import Verdict
from strokebench.data.run import RunData
from strokebench.diagnose import diagnose, kind_of
from strokebench.diagnose.question import GROUPS
from strokebench.foreign.switched import mark_by_current
from strokebench.parts import load_part, part_names
from strokebench.sim.trials import stroke
from strokebench.verdict import judge

pytestmark = pytest.mark.slow

ONLY_SEEN_OTHERWISE = {"run_complete", "run_resistance", "connection"}
"""Of a run that ended early, or that the bench refused to begin."""


@cache
def recorded(part: str) -> RunData:
    run, _, _ = stroke(SimSpec(part, seed=1))
    assert isinstance(run, RunData)
    return run


def by_current_alone(run: RunData) -> RunData:
    samples = run.samples.copy()
    for column in set(samples.dtype.names or ()) - {"time_s", "current_a", "state", "fault"}:
        samples[column] = np.nan
    return mark_by_current(replace(run, samples=samples, marks=[], bursts=[], info={"engine": "import"}))


def answered(part: str, alone: bool) -> set[str]:
    """Ask each finder, and see that it answers with keys of its own question only; return them all."""
    profile = load_part(part)
    kind = kind_of(profile.kind)
    case = kind.case(by_current_alone(recorded(part)) if alone else recorded(part), profile)
    keys: set[str] = set()
    for finder in kind.alone if alone else kind.finders:
        found = {finding.key for finding in finder.find(case)}
        assert found and found <= set(finder.QUESTION.keys), finder
        keys |= found
    return keys


@pytest.mark.parametrize("part", part_names())
def test_each_finding_has_its_group_and_is_information_exactly_without_limits(part: str) -> None:
    profile, run = load_part(part), recorded(part)
    for seen in (run, by_current_alone(run)):
        for finding in judge(diagnose(seen, profile)):
            assert kind_of(profile.kind).group_of(finding.key) in GROUPS, finding.key
            limited = finding.lower is not None or finding.upper is not None
            assert limited == (finding.verdict is not Verdict.INFO), finding.key


def test_what_is_declared_is_what_the_parts_make_known() -> None:
    kinds = {load_part(part).kind for part in part_names()}
    declared = {key for kind in kinds for question in kind_of(kind).questions for key in question.keys}
    known = {key for part in part_names() for alone in (False, True) for key in answered(part, alone)}
    assert declared - known == ONLY_SEEN_OTHERWISE

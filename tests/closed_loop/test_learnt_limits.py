"""Limits learnt from simulated pumps at one supply, then judged at others: the old way beside this one."""

from __future__ import annotations

import math

import pytest
from strokebench.bench.spec import SimSpec
from strokebench.data.findings import Finding, Verdict
from strokebench.diagnose import diagnose
from strokebench.parts import load_part, profile_of
from strokebench.parts.profile import Profile
from strokebench.sim.trials import stroke
from strokebench.verdict.decision import verdict_of
from strokebench.verdict.learning.here import limits_here
from strokebench.verdict.learning.learn import Specimen, learn
from strokebench.verdict.learning.surroundings import Surroundings, surroundings_of
from strokebench.verdict.learning.writing import laid_into

from tests.reference.tolerance import median_and_qn_limits

PART = "fuel-pump"


def measured(seed: int, supply_v: float, ambient_c: float = 23.0) -> tuple[list[Finding], Surroundings]:
    run, profile, _plant = stroke(SimSpec(PART, seed, supply_v=supply_v, ambient_c=ambient_c))
    return diagnose(run, profile), surroundings_of(run)


def failing(findings: list[Finding]) -> list[str]:
    return [finding.key for finding in map(verdict_of, findings) if finding.verdict is Verdict.FAIL]


@pytest.fixture(scope="module")
def eight() -> list[Specimen]:
    """Eight good pumps at 12.6 V and 23 C."""
    found = []
    for seed in range(1, 9):
        findings, at = measured(seed, 12.6)
        found.append(Specimen(f"P{seed}", f"run {seed}", PART, "fuel_pump", {}, findings, at))
    return found


@pytest.fixture(scope="module")
def learnt(eight: list[Specimen]) -> Profile:
    base = load_part(PART)
    table = base.model_dump(mode="json", exclude_none=True)
    return profile_of(laid_into(table, learn(eight, base), {}), "learnt")


@pytest.mark.slow
@pytest.mark.parametrize(
    ("seed", "supply_v", "ambient_c"), [(21, 14.4, 23.0), (22, 13.8, 5.0), (23, 11.2, 40.0)]
)
def test_good_pumps_at_another_supply_do_not_fail(
    eight: list[Specimen], learnt: Profile, seed: int, supply_v: float, ambient_c: float
) -> None:
    """Seeds that nothing was tuned with. By the median and Qn of eight pumps at 12.6 V some of them fail."""
    findings, at = measured(seed, supply_v, ambient_c)
    keys = [key for key, limit in learnt.findings.items() if limit.learnt]
    limited = [
        finding.with_(lower=learnt.findings[finding.key].lower, upper=learnt.findings[finding.key].upper)
        for finding in findings if finding.key in keys
    ]  # fmt: skip
    assert not failing(limits_here(limited, learnt, at))
    if supply_v == 13.8:
        old = [_old_way(finding, eight, load_part(PART)) for finding in findings if finding.key in keys]
        assert failing(old)


def _old_way(finding: Finding, eight: list[Specimen], base: Profile) -> Finding:
    """The finding with 95/95 tolerance limits by median and Qn, referred to nothing."""
    readings = [each for part in eight for each in part.findings if each.key == finding.key]
    limit = base.findings[finding.key]
    u = sorted(reading.u for reading in readings)[len(readings) // 2]
    low, high = median_and_qn_limits([reading.value for reading in readings], u, limit.lower, limit.upper)
    return finding.with_(
        lower=low if math.isfinite(low) else None, upper=high if math.isfinite(high) else None
    )

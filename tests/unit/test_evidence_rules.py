"""What may pass or fail at all: unfit benches, unknown findings, limits from too few parts."""

from __future__ import annotations

import math
from pathlib import Path

import pytest
from pydantic import ValidationError
from strokebench.commands.bench.measure import proposal
from strokebench.data.findings import Finding, Verdict, unknown
from strokebench.diagnose.stats import Measured
from strokebench.measure import Load
from strokebench.parts import load_part
from strokebench.parts.profile import FindingLimit, Profile
from strokebench.terminal.display import verdict_line
from strokebench.verdict import judge, named_faults, overall
from strokebench.verdict.basis import caveat, excused
from strokebench.verdict.bench_fit import bench_troubles, without_bench

FAN, WIRES = load_part("cooling-fan"), load_part("wiring")


def weak_supply_and_a_slow_fan() -> list[Finding]:
    return judge(
        [
            Finding(
                "source_resistance", "Source resistance", 300, 5, "mohm", upper=100, fault="weak_battery"
            ),
            Finding("load_rise", "Load", 500, 5, "mN m", upper=368, fault="obstructed"),
            Finding("turning", "Back-EMF", 60, 1, "%", lower=15, fault="blocked"),
        ]
    )


def test_a_weak_bench_battery_fails_no_part_and_is_named() -> None:
    found = without_bench(weak_supply_and_a_slow_fan(), "cooling_fan")
    assert overall(found) is Verdict.INCONCLUSIVE
    assert named_faults(found) == [] and bench_troubles(found) == ["weak_battery"]
    assert "not the part" in found[0].reason and "Source resistance" in found[1].reason
    assert verdict_line("Fan", found, Verdict.INCONCLUSIVE).endswith("Fan (the bench: weak_battery)")


@pytest.mark.parametrize("kind", ["wiring", "fuel_pump_fuse"])
def test_where_wiring_is_the_job_a_weak_supply_fails(kind: str) -> None:
    found = without_bench(weak_supply_and_a_slow_fan(), kind)
    assert overall(found) is Verdict.FAIL and bench_troubles(found) == []
    assert "weak_battery" in named_faults(found)


def test_an_unknown_finding_with_a_limit_keeps_a_run_from_passing() -> None:
    """No burst, so no inductance: once a pass, because the profile did not call it required."""
    throttle = load_part("throttle-body")
    good = Finding("friction", "Friction", 0.5, 0.01, "A", upper=0.7)
    lost = unknown("inductance", "Inductance", "mH", "the recording holds no burst", lower=0.5)
    found = excused(judge([good, lost]), throttle)
    assert overall(found, frozenset({"friction"})) is Verdict.INCONCLUSIVE
    changed = throttle.findings | {"inductance": FindingLimit(lower=0.5, not_needed="the loop tells as much")}
    found = excused(judge([good, lost]), throttle.model_copy(update={"findings": changed}))
    assert overall(found, frozenset({"friction"})) is Verdict.PASS
    assert found[1].reason.endswith("Not needed: the loop tells as much")


def test_a_known_finding_is_not_excused() -> None:
    changed = FAN.findings | {"load_rise": FindingLimit(upper=300, not_needed="somebody thought so")}
    found = excused(weak_supply_and_a_slow_fan(), FAN.model_copy(update={"findings": changed}))
    assert overall(found) is Verdict.FAIL


def test_required_and_not_needed_is_refused() -> None:
    with pytest.raises(ValidationError, match="contradict"):
        FindingLimit(upper=1, required=True, not_needed="why")


def with_parts(count: int | None) -> Profile:
    changed = {key: limit.model_copy(update={"parts": count}) for key, limit in FAN.findings.items()}
    return FAN.model_copy(update={"findings": changed})


@pytest.mark.parametrize(("count", "text"), [(None, ""), (1, "this very one"), (5, "only 5"), (30, "")])
def test_the_verdict_line_says_when_limits_come_from_too_few_parts(count: int | None, text: str) -> None:
    said = caveat(with_parts(count))
    assert text in said and bool(said) == bool(text)
    line = verdict_line("Fan", [], Verdict.PASS, said)
    assert ("green" in line) == (not text) and said in line


def test_a_measured_proposal_says_that_it_comes_from_one_part(tmp_path: Path) -> None:
    ohm = Measured(20.0, 0.1)
    load = Load(ohm, Measured(40.0, 1.0), "step", 0.002, 0.0, False, 0.5, 0.3, 0.3, 0.4, [])
    base = load_part("solenoid").model_dump(mode="json", exclude_none=True)
    made = Profile.model_validate(proposal(load, base, 2.0, "mystery"))
    assert "this very one" in caveat(made)
    assert all(math.isfinite(limit.lower or 0.0) for limit in made.findings.values())

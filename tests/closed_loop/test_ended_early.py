"""What ends a run early, or weakens the bench, fails no part; and a jam is no dead track."""

from __future__ import annotations

import pytest
from strokebench.bench.spec import SimSpec
from strokebench.data.findings import Verdict
from strokebench.sim.trials import stroke
from strokebench.verdict import named_faults
from strokebench.verdict.bench_fit import bench_troubles
from strokebench.verdict.examine import examine


@pytest.mark.parametrize(
    ("part", "trouble"),
    [
        ("solenoid", "estop@3"),  # once "sticky"
        ("solenoid", "supply=18@3"),
        ("solenoid", "supply=0@3"),  # once "weak_battery, sticky"
        ("wiring", "estop@2"),  # once "open_wire"
        ("wiring", "supply=0@2"),
        ("cooling-fan", "estop@2.5"),
    ],
)
def test_an_early_end_is_inconclusive_and_names_no_defect(part: str, trouble: str) -> None:
    run, profile, _ = stroke(SimSpec(part, 1, bench_faults=(trouble,)))
    findings, verdict = examine(run, profile)
    assert run.info["outcome"] == "fault"
    assert (verdict, named_faults(findings)) == (Verdict.INCONCLUSIVE, [])
    ended = next(finding for finding in findings if finding.key == "run_complete")
    assert "ended it" in ended.reason


def test_what_failed_before_the_end_fails() -> None:
    """A bad lead shows in the holds at three drives; the button comes after the holds."""
    run, profile, _ = stroke(SimSpec("solenoid", 1, ("lead_resistance:severe",), bench_faults=("estop@3.6",)))
    findings, verdict = examine(run, profile)
    assert (verdict, named_faults(findings)) == (Verdict.FAIL, ["lead_resistance"])


@pytest.mark.slow
@pytest.mark.parametrize("part", ["throttle-body", "egr-motor", "egr-solenoid", "idle-actuator", "fuel-pump"])
@pytest.mark.parametrize("at_s", [1.5, 2, 4, 7, 12, 20])
def test_whenever_the_button_is_pressed_a_good_part_does_not_fail(part: str, at_s: float) -> None:
    run, profile, _ = stroke(SimSpec(part, 2, bench_faults=(f"estop@{at_s}",)))
    findings, verdict = examine(run, profile)
    done = run.info["outcome"] == "done"
    assert verdict is (Verdict.PASS if done else Verdict.INCONCLUSIVE)
    assert named_faults(findings) == []


def test_a_blocked_flap_with_two_live_agreeing_tracks_has_no_dead_track() -> None:
    """Once "track_dead": the flap jams at 86 % of its travel, and both tracks say so."""
    run, profile, _ = stroke(SimSpec("throttle-body", 1, ("binding=12@0.86",)))
    findings, verdict = examine(run, profile)
    assert (verdict, named_faults(findings)) == (Verdict.FAIL, ["short_travel"])


def test_a_weak_bench_battery_does_not_fail_a_fan() -> None:
    run, profile, _ = stroke(SimSpec("cooling-fan", 1, ("weak_battery:severe",)))
    findings, verdict = examine(run, profile)
    assert (verdict, named_faults(findings)) == (Verdict.INCONCLUSIVE, [])
    assert bench_troubles(findings) == ["weak_battery"]

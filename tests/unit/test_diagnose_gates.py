"""What a recording lacks makes findings inconclusive with a reason, never a pass."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from strokebench.data.findings import Finding, Verdict
from strokebench.data.run import Event, RunData
from strokebench.data.samples import empty
from strokebench.diagnose import diagnose, kinds
from strokebench.errors import UsageError
from strokebench.parts import load_part
from strokebench.verdict import judge, named_faults, overall

from tests.helpers.solved_throttle import Truth, record, stall_pieces, step_pieces, sweep_pieces

PROFILE = load_part("throttle-body")


@pytest.fixture(scope="module")
def whole() -> RunData:
    return record(stall_pieces() + sweep_pieces() + step_pieces(), Truth())


def judged(run: RunData) -> dict[str, Finding]:
    return {finding.key: finding for finding in judge(diagnose(run, PROFILE))}


def copy(run: RunData, change: Callable[[np.ndarray], None] | None = None) -> RunData:
    samples = run.samples.copy()
    if change is not None:
        change(samples)
    return RunData(samples, list(run.marks), list(run.events), list(run.bursts), info=dict(run.info))


def test_the_untouched_recording_fails_nowhere(whole: RunData) -> None:
    found = judged(whole)
    assert named_faults(list(found.values())) == []
    assert found["friction"].verdict is Verdict.PASS
    assert found["inductance"].verdict is Verdict.INCONCLUSIVE  # it holds no burst
    assert "burst" in found["inductance"].reason


def test_an_empty_recording_is_inconclusive_with_a_reason_everywhere() -> None:
    found = judged(RunData(empty(0)))
    assert all(finding.reason for finding in found.values())
    for finding in found.values():
        limited = finding.lower is not None or finding.upper is not None
        assert finding.verdict is (Verdict.INCONCLUSIVE if limited else Verdict.INFO), finding.key
    assert found["friction"].verdict is Verdict.INCONCLUSIVE
    assert overall(list(found.values()), PROFILE.required) is Verdict.INCONCLUSIVE


def test_gaps_take_the_value_from_all_but_the_supply(whole: RunData) -> None:
    keep = np.arange(len(whole.samples)) % 1000 < 950
    run = RunData(whole.samples[keep], whole.marks, info=whole.info)
    found = judged(run)
    assert found["recording_gaps"].value == pytest.approx(5, abs=0.3)
    assert not found["friction"].known
    assert "missing" in found["friction"].reason
    assert found["supply_rest"].known


def test_low_supply_and_clipped_current_are_said(whole: RunData) -> None:
    def weak(rows: np.ndarray) -> None:
        rows["supply_v"] -= 4.5

    def clipped(rows: np.ndarray) -> None:
        rows["current_a"][1000:1500] = 72.0

    assert "supply was below" in judged(copy(whole, weak))["friction"].reason
    assert "bench's range" in judged(copy(whole, clipped))["friction"].reason


def test_too_few_sweeps_are_not_enough() -> None:
    found = judged(record(stall_pieces() + sweep_pieces(1), Truth()))
    for key in ("breakaway_open", "binding", "rest_position", "open_time"):
        assert found[key].verdict is Verdict.INCONCLUSIVE, key
        assert found[key].reason, key
    # a fit over all that moves makes do with one sweep each way
    assert abs(found["friction"].value - Truth().coulomb / Truth().k_si) < 2 * found["friction"].u


def test_protection_keeps_a_run_from_passing(whole: RunData) -> None:
    run = copy(whole)
    run.events.append(Event(3.0, "fault", 37, "The part drew stall current without moving."))
    found = judged(run)
    assert "code 37" in found["run_complete"].reason
    assert overall(list(found.values()), frozenset({"friction"})) is Verdict.INCONCLUSIVE


def test_missing_channels_cost_only_what_needs_them(whole: RunData) -> None:
    def no_sensors(rows: np.ndarray) -> None:
        rows["sensor_a_v"] = rows["sensor_b_v"] = np.nan

    found = judged(copy(whole, no_sensors))
    assert found["winding_resistance"].verdict is Verdict.PASS
    assert found["source_resistance"].verdict is Verdict.PASS
    for key in ("friction", "binding", "rest_position", "track_a_swing"):
        assert found[key].verdict is Verdict.INCONCLUSIVE, key


def test_the_diagnosis_is_a_pure_function(whole: RunData) -> None:
    before = whole.samples.copy()
    first, second = diagnose(whole, PROFILE), diagnose(whole, PROFILE)
    assert [(finding.key, str(finding.value)) for finding in first] == [
        (finding.key, str(finding.value)) for finding in second
    ]
    assert whole.samples.tobytes() == before.tobytes()


def test_an_unknown_kind_of_part_is_a_usage_error(whole: RunData) -> None:
    class Strange:
        kind = "teapot"

    with pytest.raises(UsageError, match="teapot"):
        diagnose(whole, Strange())  # type: ignore[arg-type]
    assert "throttle" in kinds()

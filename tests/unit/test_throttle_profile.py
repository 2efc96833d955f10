"""The throttle's profile and its diagnosis fit together: labels, limits, names of defects."""

from __future__ import annotations

import numpy as np
import pytest
from strokebench.data.run import Mark, RunData
from strokebench.data.samples import empty
from strokebench.diagnose import diagnose, labels
from strokebench.diagnose.case import Case
from strokebench.diagnose.defects import DEFECTS, defect
from strokebench.parts import load_part

PROFILE = load_part("throttle-body")


LABELS = {
    labels.REST, "approach", labels.SWEEP_OPEN, labels.SWEEP_RETURN, labels.STALL_OPEN,
    labels.STALL_CLOSE, labels.BURST_RIPPLE, labels.STEP_OPEN, labels.RELEASE_OPEN, labels.STEP_CLOSE,
    labels.RELEASE_CLOSE,
}  # fmt: skip


def test_the_procedure_carries_every_label_that_is_asked_for() -> None:
    found = {planned.label for planned in PROFILE.procedure.plan()}
    assert found >= LABELS


def test_repeats_are_as_many_as_the_estimators_ask_for() -> None:
    plan = [planned.label for planned in PROFILE.procedure.plan()]
    for label in (labels.STEP_OPEN, labels.STEP_CLOSE, labels.RELEASE_OPEN, labels.RELEASE_CLOSE):
        assert plan.count(label) >= 3, label
    for label in (labels.STALL_OPEN, labels.STALL_CLOSE):
        targets = {planned.target for planned in PROFILE.procedure.plan() if planned.label == label}
        assert len(targets) >= 3, label


def test_every_limit_belongs_to_a_finding() -> None:
    known = {finding.key for finding in diagnose(RunData(empty(0)), PROFILE)}
    # The two stops appear only once a position is known.
    assert set(PROFILE.findings) <= known | {"stop_closed", "stop_open"}


def test_required_findings_are_a_part_of_the_limited_ones() -> None:
    assert PROFILE.required
    for key in PROFILE.required:
        limit = PROFILE.findings[key]
        assert limit.lower is not None or limit.upper is not None


def test_slow_sweeps_are_slow() -> None:
    drive, slow = 0.0, []
    for planned in PROFILE.procedure.plan():
        if planned.label in (labels.SWEEP_OPEN, labels.SWEEP_RETURN) and planned.kind == "ramp":
            slow.append(abs(planned.target - drive) / planned.duration_s)
        drive = planned.drive_after
    assert sum(rate <= 0.121 for rate in slow) >= 6


def test_neighbours_of_a_sweep_are_one_stretch_and_holds_are_not() -> None:
    marks = [
        Mark("sweep_open", 0.0, 1.0, 0, "ramp"), Mark("sweep_open", 1.0, 2.0, 1, "ramp"),
        Mark("sweep_open", 2.0, 2.5, 2, "hold"), Mark("sweep_return", 2.5, 4.0, 3, "ramp"),
        Mark("sweep_open", 4.0, 5.0, 4, "ramp"), Mark("stall_open", 5.0, 6.0, 5, "hold"),
        Mark("stall_open", 6.0, 7.0, 6, "hold"),
    ]  # fmt: skip
    rows = empty(80)
    rows["time_s"] = np.arange(80) / 10
    case = Case(RunData(rows, marks), PROFILE)
    assert [(mark.start_s, mark.end_s) for mark in case.stretches("sweep_open")] == [(0.0, 2.5), (4.0, 5.0)]
    assert len(case.stretches("stall_open")) == 2


def test_window_is_half_open() -> None:
    rows = empty(10)
    rows["time_s"] = np.arange(10) / 10
    case = Case(RunData(rows), PROFILE)
    assert list(case.between(0.2, 0.5)["time_s"]) == pytest.approx([0.2, 0.3, 0.4])


def test_a_recordings_own_accuracy_goes_before_the_default() -> None:
    own = Case(RunData(accuracy={"current_a": {"gain": 0.002}}), PROFILE)
    default = Case(RunData(), PROFILE)
    assert own.accuracy("current_a", "gain") == 0.002
    assert own.accuracy("current_a", "offset") == default.accuracy("current_a", "offset") > 0
    assert default.accuracy("current_a", "gain") > 0.002


def test_limits_pick_the_defect_by_the_side_a_value_is_on() -> None:
    from strokebench.diagnose.stats import Measured

    case = Case(RunData(), PROFILE)
    for value, fault in ((1.0, "shorted_turns"), (3.0, "lead_resistance")):
        found = case.finding(
            "winding_resistance",
            "R",
            Measured(value, 0.01),
            "ohm",
            low="shorted_turns",
            high="lead_resistance",
        )
        assert found.fault == fault and found.lower == PROFILE.findings["winding_resistance"].lower
    assert not case.finding("winding_resistance", "R", Measured(float("nan"), 0.0), "ohm").known


def test_a_defect_without_a_description_still_reads() -> None:
    assert defect("bent_reed").name == "Bent reed"
    assert all(meaning.name[0].isupper() for meaning in DEFECTS.values())

"""A failure is set aside only as far as another defect predicts it."""

from __future__ import annotations

import pytest
from strokebench.data.findings import Finding, Verdict
from strokebench.verdict import judge, named_faults
from strokebench.verdict.decision import verdict_of
from strokebench.verdict.effects import Effect, Effects, table
from strokebench.verdict.hypotheses import rank


def pump(load_rise: float) -> list[Finding]:
    """A bad commutator segment, with a load that rises by so much; the rest as good pumps have it."""
    return [
        Finding("segment_passes", "Segment", 38.0, 0.5, "%", upper=3.0, fault="bad_segment"),
        Finding("load_rise", "Load", load_rise, 0.3, "mN m", upper=18.0, fault="clogged"),
        Finding("drag", "Drag", 62.0, 1.0, "mN m", upper=79.0, fault="dragging"),
        Finding("brush_noise", "Brushes", 0.3, 0.02, "%", upper=0.7, fault="worn_brush"),
    ]


def test_a_clogged_filter_behind_a_bad_segment_is_named_too() -> None:
    # load rise 22.9 against 18; the segment alone gives 11.7: once "follows from bad_segment"
    assert named_faults(judge(pump(22.9), kind="fuel_pump")) == ["bad_segment", "clogged"]
    assert named_faults(judge(pump(11.7), kind="fuel_pump")) == ["bad_segment"]


def test_resistance_that_a_bad_segment_predicts_is_set_aside() -> None:
    loop = Finding("loop_resistance", "Loop", 0.70, 0.01, "ohm", 0.38, 0.585, fault="lead_resistance")
    found = judge([*pump(11.7), loop], kind="fuel_pump")
    assert named_faults(found) == ["bad_segment"]
    assert found[-1].evidence["follows_from"] == "bad_segment"


TRACK = Effects(
    {"binding": (0.2, 0.05), "dropouts": (0.0, 0.1)},
    {"worn_track": {"dropouts": Effect(3, 1, 6, 2), "binding": Effect(1.5, 0.4, 3.0, 0.8)},
     "binding": {"binding": Effect(2, 0.5, 4, 1)}},
)  # fmt: skip


@pytest.mark.parametrize(("place", "names"), [(21.0, ("worn_track",)), (71.0, ("worn_track", "binding"))])
def test_a_defect_explains_only_what_lies_at_its_place(place: float, names: tuple[str, ...]) -> None:
    # binding at 71 % of travel once followed from a worn track at 20 %
    found = [
        Finding("dropouts", "Dropouts", 6.0, 0.0, "times", upper=1.0, fault="worn_track", place=20.0),
        Finding("binding", "Binding", 3.1, 0.05, "%", upper=1.0, fault="binding", place=place),
    ]
    best = rank([verdict_of(finding) for finding in found], [TRACK])[0]
    assert best.defects == names and best.probability > 0.5


def test_probabilities_add_up_and_nothing_failing_has_no_hypothesis() -> None:
    judged = [verdict_of(finding) for finding in pump(22.9)]
    assert sum(each.probability for each in rank(judged, table()["fuel_pump"])) == pytest.approx(1.0)
    assert rank([finding.with_(verdict=Verdict.PASS) for finding in judged], table()["fuel_pump"]) == []

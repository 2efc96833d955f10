"""A failure is set aside only as far as another defect predicts it."""

from __future__ import annotations

import math

import pytest
from strokebench.data.findings import Finding, Verdict, unknown
from strokebench.verdict import judge, named_faults
from strokebench.verdict.decision import settle, suspects, unsettled, verdict_of, with_suspects
from strokebench.verdict.effects import Effect, Effects, in_tolerance, out_of_tolerance, table
from strokebench.verdict.hypotheses import Hypothesis, can_be_told, contradiction, rank
from strokebench.verdict.likelihood import SURPRISE, Seen


def pump(load_rise: float, torque: float = 76.0) -> list[Finding]:
    """A bad commutator segment, with a load that rises by so much; the rest as good pumps have it."""
    return [
        Finding("segment_passes", "Segment", 38.0, 0.5, "%", upper=3.0, fault="bad_segment"),
        Finding("load_rise", "Load", load_rise, 0.3, "mN m", upper=18.0, fault="clogged"),
        Finding("load_torque", "Torque", torque, 1.0, "mN m", lower=58.0, fault="dry"),
        Finding("drag", "Drag", 62.0, 1.0, "mN m", upper=79.0, fault="dragging"),
        Finding("brush_noise", "Brushes", 0.3, 0.02, "%", upper=0.7, fault="worn_brush"),
    ]


def test_a_clogged_filter_behind_a_bad_segment_is_named_too() -> None:
    # load rise 22.9 against 18; the segment alone gives 11.7: once "follows from bad_segment"
    assert named_faults(judge(pump(22.9, 95.0), kind="fuel_pump")) == ["bad_segment", "clogged"]
    assert named_faults(judge(pump(11.7), kind="fuel_pump")) == ["bad_segment"]


def test_resistance_that_a_bad_segment_predicts_is_set_aside() -> None:
    loop = Finding("loop_resistance", "Loop", 0.62, 0.01, "ohm", 0.38, 0.585, fault="lead_resistance")
    found = judge([*pump(11.7), loop], kind="fuel_pump")
    assert named_faults(found) == ["bad_segment"]
    assert found[-1].evidence["follows_from"] == "bad_segment"


TRACK = Effects(
    {"binding": (0.2, 0.05), "dropouts": (0.0, 0.1)},
    {"worn_track": {"dropouts": Effect(3, 1, 6, 2), "binding": Effect(1.5, 0.4, 3.0, 0.8)},
     "binding": {"binding": Effect(2, 0.5, 4, 1)}},
    {},
)  # fmt: skip


@pytest.mark.parametrize(("place", "names"), [(21.0, {"worn_track"}), (71.0, {"worn_track", "binding"})])
def test_a_defect_explains_only_what_lies_at_its_place(place: float, names: set[str]) -> None:
    # binding at 71 % of travel once followed from a worn track at 20 %
    found = [
        Finding("dropouts", "Dropouts", 6.0, 0.0, "times", upper=1.0, fault="worn_track", place=20.0),
        Finding("binding", "Binding", 3.1, 0.05, "%", upper=1.0, fault="binding", place=place),
    ]
    ranked = rank([verdict_of(finding) for finding in found], TRACK)
    likely = {name for name in ("worn_track", "binding") if chance(ranked, name) > 0.5}
    assert names <= likely if place > 50 else likely >= {"worn_track"}
    assert chance(ranked, "binding") > 0.9 or place < 50


@pytest.mark.parametrize(("kind", "upper"), [("throttle", 1.72), ("egr_motor", 2.46)])
def test_binding_does_not_follow_from_the_winding_s_resistance(kind: str, upper: float) -> None:
    # it is read from current: once "follows from winding resistance"
    found = [
        Finding("winding_resistance", "Ohm", 1.5 * upper, 0.01, "ohm", 1.25, upper, fault="lead_resistance"),
        Finding("binding", "Binding", 48.0, 0.6, "%", upper=16.0, fault="binding", place=71.0),
    ]
    assert set(named_faults(judge(found, kind=kind))) == {"lead_resistance", "binding"}


def chance(ranked: list[Hypothesis], name: str) -> float:
    return sum(each.probability for each in ranked if name in each.defects)


def test_probabilities_add_up_and_nothing_failing_has_no_hypothesis() -> None:
    judged = [verdict_of(finding) for finding in pump(22.9)]
    assert sum(each.probability for each in rank(judged, table()["fuel_pump"])) == pytest.approx(1.0)
    assert rank([finding.with_(verdict=Verdict.PASS) for finding in judged], table()["fuel_pump"]) == []


COIL = Effects(
    {"ohm": (0.0, 0.2), "moves": (1.5, 0.1), "time": (0.5, 0.05)},
    {"lead": {"ohm": Effect(2, 0.5, 4, 1)},
     "stuck": {"moves": Effect(-1, 0.1, -1, 0.1, 0.0), "time": Effect(0, 0, 0, 0, 1.0)}},
    {},
)  # fmt: skip
OHM = Finding("ohm", "Ohm", 14.0, 0.1, "ohm", 8.0, 10.0, fault="lead")
MOVES = Finding("moves", "Moves", 0.5, 0.01, "mm", lower=1.0, fault="stuck")
TIME = Finding("time", "Time", 6.0, 0.1, "ms", upper=12.0, fault="slow")


def test_a_finding_without_a_value_speaks_for_the_defect_that_takes_it() -> None:
    lost = unknown("time", "Time", "ms", "nothing moved", upper=12.0)
    with_time, without = (
        rank([verdict_of(each) for each in (OHM, MOVES, last)], COIL) for last in (TIME, lost)
    )
    assert chance(without, "stuck") > chance(with_time, "stuck")


def test_the_bench_s_names_are_no_candidates() -> None:
    found = [verdict_of(OHM), verdict_of(MOVES.with_(fault="weak_battery"))]
    assert all("weak_battery" not in each.defects for each in rank(found, COIL, ("weak_battery",)))


def test_what_the_leading_hypothesis_does_not_move_stays_a_defect_of_its_own() -> None:
    found = settle([verdict_of(OHM), verdict_of(MOVES)], Hypothesis(("lead",), 1.0), COIL)
    assert named_faults(found) == ["lead", "stuck"]


def test_what_two_defects_shift_beyond_their_sum_speaks_for_the_pair() -> None:
    alone = {"lead": {"ohm": Effect(2, 0.1, 4, 0.1)}, "turns": {"ohm": Effect(-1, 0.1, -2, 0.1)}}
    good = {"ohm": (0.0, 0.1), "time": (0.5, 0.05)}
    late = {("lead", "turns"): {"time": Effect(1, 0.1, 2, 0.1)}}
    found = [verdict_of(OHM.with_(value=11.0)), verdict_of(TIME.with_(value=18.0))]  # 2 and 1.5 in tolerance
    known, unknown_ = (rank(found, Effects(good, alone, {}, pairs)) for pairs in (late, {}))
    assert known[0].defects == ("lead", "turns") and known[0].probability > 0.9
    both = [each.probability for each in unknown_ if each.defects == ("lead", "turns")]
    assert both[0] < 0.5


WORN = Effects(
    {"rise": (0.7, 0.05), "slow_loss": (0.3, 0.15), "drag": (0.8, 0.05)},
    {"clogged": {"rise": Effect(0.7, 0.1, 1.7, 0.2)},
     "worn": {"slow_loss": Effect(2.5, 1.0, 3.0, 1.0), "rise": Effect(0.6, 0.1, 1.2, 0.2)},
     "dragging": {"drag": Effect(0.4, 0.1, 0.8, 0.2)}},
    {},
)  # fmt: skip


def test_a_hypothesis_that_cannot_account_for_a_failure_is_none() -> None:
    """Low-speed loss does not follow from a clogged filter, and a worn pump on a clogged filter cannot be
    told: the leading hypothesis was "clogged", and the names were both."""
    found = [
        verdict_of(Finding("rise", "Rise", 16.2, 0.1, "mN m", upper=10.0, fault="clogged")),
        verdict_of(Finding("slow_loss", "Loss", 16.0, 0.5, "mN m", upper=10.0, fault="worn")),
        verdict_of(Finding("drag", "Drag", 8.6, 0.1, "mN m", upper=10.0, fault="dragging")),
    ]
    seen = Seen.of(found, WORN)
    assert contradiction(("clogged",), seen) is found[1] and contradiction(("dragging", "worn"), seen) is None
    ranked = rank(found, WORN)
    assert all("clogged" not in each.defects for each in ranked)
    assert named_faults(settle(found, ranked[0], WORN)) == ["worn"]


NOISY = Effects(
    {"dips": (0.0, 0.1), "noise": (0.3, 0.1)},
    {"segment": {"dips": Effect(3, 1, 6, 1), "noise": Effect(0.7, 0.2, 1.4, 0.4)},
     "brush": {"noise": Effect(1, 0.3, 2, 0.5)}},
    {},
)  # fmt: skip
DIPS = Finding("dips", "Dips", 6.0, 0.0, "%", upper=1.0, fault="segment")


@pytest.mark.parametrize(("noise", "names"), [(2.0, ["segment"]), (6.1, ["segment", "brush"])])
def test_a_failure_follows_only_as_far_as_the_other_defect_predicts_it(
    noise: float, names: list[str]
) -> None:
    """A bad segment makes noise, but not that much: 1.7 of the limit with a spread of 0.4."""
    judged = [verdict_of(each) for each in (DIPS, Finding("noise", "N", noise, 0.01, "%", upper=1.0,
              fault="brush"))]  # fmt: skip
    found = settle(judged, Hypothesis(("segment",), 1.0, (2.0,)), NOISY)
    assert set(named_faults(found)) == set(names)
    assert (found[1].evidence.get("follows_from") == "segment") is (len(names) == 1)


def test_what_could_not_be_told_beside_the_leading_defect_is_never_named_beside_it() -> None:
    """Friction all the way moves the binding finding too, now and then further than the table knows."""
    effects = Effects(
        {"friction": (0.5, 0.1), "binding": (0.3, 0.1)},
        {"sticky": {"friction": Effect(2, 0.5, 4, 1), "binding": Effect(0.5, 0.1, 1.0, 0.2)},
         "binding": {"binding": Effect(2, 0.3, 4, 0.5)}},
        {},
    )  # fmt: skip
    judged = [
        verdict_of(Finding(key, key, value, 0.01, "%", upper=1.0, fault=fault))
        for key, value, fault in (("friction", 4.5, "sticky"), ("binding", 5.0, "binding"))
    ]
    found = settle(judged, Hypothesis(("sticky",), 1.0, (2.0,)), effects)
    assert named_faults(found) == ["sticky"]
    assert found[1].evidence["follows_from"] == "sticky"


def test_what_no_run_could_show_side_by_side_is_no_hypothesis() -> None:
    assert not can_be_told(("blocked", "dragging")) and not can_be_told(("blocked", "jammed"))
    assert can_be_told(("blocked", "lead_resistance")) and can_be_told(("dragging", "clogged"))
    assert not can_be_told(("sticky", "binding")) and can_be_told(("blocked",))
    judged = [verdict_of(finding) for finding in pump(22.9)]
    assert all(can_be_told(each.defects) for each in rank(judged, table()["fuel_pump"]))


def test_a_failure_shows_the_defect_that_moves_it_where_none_of_its_own_fails() -> None:
    found = settle([verdict_of(MOVES.with_(fault="slow"))], Hypothesis(("stuck",), 1.0), COIL)
    assert found[0].fault == "stuck" and found[0].evidence["pointed_to"] == "slow"
    again = unsettled(found)
    assert again[0].fault == "slow" and again[0].verdict is Verdict.FAIL and not again[0].evidence


def test_a_suspect_is_likely_and_shown_by_nothing_that_fails() -> None:
    judged = [verdict_of(OHM)]
    ranked = [Hypothesis(("lead", "stuck"), 0.7, (1, 1)), Hypothesis(("lead",), 0.3, (1,))]
    found = with_suspects(judged, ranked)
    assert suspects(found) == {"stuck": 0.7} and named_faults(found) == ["lead"]
    assert suspects(with_suspects(judged, ranked[::-1])) == {}
    assert suspects([each.with_(verdict=Verdict.INCONCLUSIVE) for each in found]) == {}


def test_density_of_a_prediction_is_that_of_student_s_t() -> None:
    """Against a table of Student's t with 4 degrees of freedom: 95 % within 2.776 (any handbook)."""
    seen = Seen.of([verdict_of(OHM)], COIL)
    sigma = math.hypot(0.2, 0.1)
    value = (14.0 - 9.0) / 1.0
    steps = [-2.776 + 2 * 2.776 * (place + 0.5) / 4000 for place in range(4000)]
    inside = 0.0
    for step in steps:
        moved = Seen(seen.known, [], [], COIL, seen.value * 0 + step * sigma, seen.variance)
        inside += math.exp(float(moved.each(())[0])) * sigma * 2 * 2.776 / 4000
    assert inside == pytest.approx(0.95, abs=0.002)
    assert seen.value[0] == pytest.approx(value) and float(seen.each(())[0]) == pytest.approx(
        math.log(SURPRISE)
    )


def test_a_tolerance_is_counted_there_and_back() -> None:
    for finding in (OHM, MOVES, TIME):
        assert out_of_tolerance(finding, in_tolerance(finding)[0]) == pytest.approx(finding.value)

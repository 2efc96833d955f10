"""Verdicts by guard band, overall verdicts, and which defect is named."""

from __future__ import annotations

import math

import pytest
from strokebench.data.findings import Finding, Verdict, unknown
from strokebench.diagnose.defects import ALL, DEFECTS, defect
from strokebench.verdict import judge, named_faults, overall, root_cause
from strokebench.verdict.decision import verdict_of

PASS, FAIL, OPEN = Verdict.PASS, Verdict.FAIL, Verdict.INCONCLUSIVE


def finding(
    key: str, value: float, lower: float | None, upper: float | None, u: float = 0.0, fault: str = ""
) -> Finding:
    return Finding(key, key.title(), value, u, "A", lower, upper, fault=fault)


@pytest.mark.parametrize(
    ("value", "verdict"),
    [
        (1.50, OPEN),
        (1.55, OPEN),
        (1.56, PASS),
        (1.80, PASS),
        (2.04, PASS),
        (2.06, OPEN),
        (2.10, OPEN),
        (2.16, FAIL),
    ],
)
def test_guard_band_of_the_worked_example(value: float, verdict: Verdict) -> None:
    # Limits 1.5-2.1 ohm, u = 0.03, U = 0.06; decision rule of ISO 14253-1 (excerpt), conformance as in JCGM
    # 106.
    judged = verdict_of(finding("r", value, 1.5, 2.1, u=0.03))
    assert judged.verdict is verdict
    assert bool(judged.reason) == (verdict is OPEN)


@pytest.mark.parametrize(("value", "verdict"), [(0.9, FAIL), (1.0, OPEN), (1.2, PASS)])
def test_one_sided_limit(value: float, verdict: Verdict) -> None:
    assert verdict_of(finding("r", value, 1.05, None, u=0.05)).verdict is verdict


def test_passing_at_a_limit_is_wrong_at_most_once_in_forty() -> None:
    # JCGM 106, 8.3.3: with a guard band of U = 2 u the false acceptance at one limit is 2.3 %.
    from scipy.stats import norm

    value = 2.1 - 2 * 0.03
    assert verdict_of(finding("r", value, None, 2.1, u=0.03)).verdict is PASS
    assert norm.sf((2.1 - value) / 0.03) == pytest.approx(0.0228, abs=1e-4)


def test_what_is_not_known_is_never_passed() -> None:
    assert verdict_of(unknown("r", "R", "ohm", "no burst", lower=1.0)).reason == "no burst"
    for vague in (finding("r", 1.0, 0.0, 2.0, u=math.nan), finding("r", 1.0, 0.0, 2.0, u=math.inf)):
        assert verdict_of(vague).verdict is OPEN
    assert verdict_of(finding("r", 1.0, None, None)).verdict is Verdict.INFO


def test_overall_needs_every_required_finding() -> None:
    good, bad, unsure = finding("a", 1, 0, 2), finding("b", 3, 0, 2), unknown("c", "C", "A", "why", upper=1.0)
    assert overall(judge([good])) is PASS
    assert overall(judge([good, bad])) is FAIL
    assert overall(judge([good, unsure])) is OPEN
    assert overall(judge([good, unsure]), frozenset({"a"})) is OPEN  # a limit, and nothing known of it
    assert overall(judge([good, finding("c", 1, 0, 1, 0.1)]), frozenset({"a"})) is PASS
    assert overall(judge([good]), frozenset({"a", "missing"})) is OPEN
    assert overall([]) is OPEN


def test_a_run_that_protection_ended_does_not_pass() -> None:
    ended = unknown("run_complete", "Run", "", "code 37", evidence={"gate": True})
    assert overall(judge([finding("a", 1, 0, 2), ended]), frozenset({"a"})) is OPEN


def test_consequences_do_not_count_as_defects() -> None:
    findings = judge(
        [
            finding("return_time", 900, None, 450, fault="slow"),
            finding("rest_spread", 20, None, 2, fault="no_return"),
            finding("friction", 1.2, None, 0.7, fault="sticky"),
        ]
    )
    assert named_faults(findings) == ["sticky"]
    follows = {each.key: each.evidence.get("follows_from") for each in findings}
    assert follows == {"return_time": "sticky", "rest_spread": "sticky", "friction": None}
    assert overall(findings) is FAIL
    assert all("follows from" in each.reason for each in findings if each.key != "friction")


def test_two_independent_defects_are_both_named_deepest_first() -> None:
    both = [finding("b", 9, None, 1, fault="binding"), finding("s", 9, None, 1, fault="weak_battery")]
    assert named_faults(judge(both)) == ["weak_battery", "binding"]
    assert root_cause(judge(both)) == "weak_battery"
    assert root_cause(judge([finding("a", 1, 0, 2)])) == ""


def test_open_winding_explains_everything_else() -> None:
    found = judge(
        [finding("x", 9, None, 1, fault="track_dead"), finding("i", 0, 1, None, fault="open_winding")]
    )
    assert named_faults(found) == ["open_winding"]


def test_nothing_explains_what_explains_it() -> None:
    for name, about in DEFECTS.items():
        assert name not in about.explains
        for other in set(about.explains) - {ALL, "low_friction"}:
            assert name not in DEFECTS[other].explains, (name, other)


def test_every_defect_that_can_be_named_is_described() -> None:
    unknown_one = defect("no such defect").meaning
    for name in DEFECTS:
        about = defect(name)
        assert about.meaning != unknown_one, name
        assert about.meaning.endswith(".") and about.check.endswith("."), name


def test_two_defects_that_explain_nothing_come_in_the_order_of_the_table() -> None:
    names = ["travel_long", "uneven_travel", "passage_blocked", "a", "no such"]
    findings = [finding(name, 9, None, 1, fault=name) for name in reversed(names)]
    assert named_faults(judge(findings)) == names


@pytest.mark.parametrize("given", Verdict)
def test_a_finding_is_for_information_exactly_when_nothing_is_judged_by_it(given: Verdict) -> None:
    bare = Finding("a", "A", 1.0, 0.1, "V", verdict=given)
    assert bare.verdict is Verdict.INFO and judge([bare])[0].verdict is Verdict.INFO
    lost = unknown("b", "B", "V", "not recorded", verdict=given)
    assert lost.verdict is Verdict.INFO and judge([lost])[0].reason == "not recorded"
    limited = bare.with_(upper=2.0)
    assert limited.verdict is Verdict.INCONCLUSIVE and limited.with_(lower=0.0).verdict is not Verdict.INFO
    assert verdict_of(limited).verdict is PASS
    gate = unknown("c", "C", "", "cut short", verdict=Verdict.INFO, evidence={"gate": True})
    assert gate.verdict is OPEN and judge([gate])[0].verdict is OPEN
    assert overall(judge([bare, lost, limited])) is PASS

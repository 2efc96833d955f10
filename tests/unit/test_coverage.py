"""The counting of coverage: the figures of its page."""

from __future__ import annotations

from typing import Any

import pytest
from strokebench.sim.trials import FIRST_REPORTING_SEED
from strokebench.sim.truths import MEANS
from tools.evidence.coverage import FIRST_SEED
from tools.evidence.coverage_page import page, rows
from tools.evidence.shortfalls import REASONS

PART = "wiring"


def record(value: float, u: float, true: float, verdict: str = "pass") -> dict[str, Any]:
    return {
        "name": "good",
        "grade": "good",
        "verdict": verdict,
        "named": [],
        "found": {"friction": [value, u, true]},
    }


def test_reporting_seeds_are_apart_from_those_of_tuning_and_of_the_other_page() -> None:
    assert FIRST_SEED > FIRST_REPORTING_SEED + 10_000


def test_coverage_bias_and_width_of_known_records() -> None:
    # errors 1 and 3 % of 2.0 and 4.0 with u of 1 %: one of two is inside 2 u
    some = [record(2.02, 0.02, 2.0), record(4.12, 0.04, 4.0)]
    (row,) = rows({(PART, "second"): some})
    assert (row.count, row.inside, row.family) == (2, 1, "second")
    assert row.bias == pytest.approx(2.0) and row.rms == pytest.approx(5**0.5)
    assert row.median_u == pytest.approx(2.0)


def test_a_row_is_marked_only_when_its_whole_interval_is_outside() -> None:
    inside, outside = record(2.0, 0.02, 2.0), record(2.2, 0.02, 2.0)
    marks = [
        rows({(PART, "first"): [inside] * n + [outside] * m})[0].mark
        for n, m in ((190, 10), (160, 40), (200, 0))
    ]
    assert marks == ["", "low", "high"]


def test_page_tells_alarms_names_and_truths() -> None:
    bad = {"name": "binding", "grade": "severe", "verdict": "fail", "named": ["binding"], "found": {}}
    some = [record(2.0, 0.02, 2.0), record(2.0, 0.02, 2.0, "fail"), bad]
    text = page({(PART, "first"): some[:1], (PART, "second"): some}, 7)
    assert f"| {PART} | second | 2 | 50.0 % (9.5-90.5) | 0.0 % (0.0-65.8) | - | 1 of 1 |" in text
    assert "| `friction` | first | 1 |" in text and "--first-seed 7" in text
    assert "`pull_in_time`" in text


def test_no_row_that_falls_short_is_left_out() -> None:
    inside, outside = record(2.0, 0.02, 2.0), record(2.2, 0.02, 2.0)
    low = page({(PART, "first"): [inside] * 160 + [outside] * 40}, 7)
    assert "- `friction`: presliding" in low and "wiring first (low)." in low
    wide = page({(PART, "second"): [record(2.01, 0.05, 2.0)] * 9}, 7)
    assert "wiring second (10.0)." in wide
    fine = page({(PART, "second"): [record(2.02, 0.02, 2.0)] * 9}, 7)
    assert "why\n\n" in fine and "\nNone.\n" in fine


def test_a_row_is_too_wide_when_chance_does_not_explain_it() -> None:
    few, many = ([record(2.02, 0.026, 2.0)] * count for count in (9, 200))
    assert "\nNone.\n" in page({(PART, "second"): few}, 7)
    assert "wiring second (2.6)." in page({(PART, "second"): many}, 7)


def test_every_finding_with_a_truth_has_a_reason_ready() -> None:
    keys = {key.split()[0] for meanings in MEANS.values() for key in meanings}
    assert keys - set(REASONS) == set()

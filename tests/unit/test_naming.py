"""The page of defects named in the second family: its counts, and what was named instead."""

from __future__ import annotations

from typing import Any

from tools.evidence import coverage, naming


def record(named: list[str], grade: str = "severe") -> dict[str, Any]:
    verdict = "fail" if named else "pass"
    return {"name": "weak_magnet", "grade": grade, "verdict": verdict, "named": named}


def test_seeds_are_apart_from_those_of_the_coverage_page() -> None:
    assert abs(naming.FIRST_SEED - coverage.FIRST_SEED) >= 1000


def test_right_wrong_and_missed_names_are_counted_apart() -> None:
    some = [record(["weak_magnet"]), record(["blocked"]), record([]), record(["weak_magnet"], "moderate")]
    text = naming.page({"cooling-fan": some}, 3, 7)
    assert "| cooling-fan | 1 of 1 | 1 of 3 |" in text
    assert "| weak_magnet | severe | 3 | 66.7 % (" in text
    assert "- weak_magnet, severe: 1 times `blocked`." in text
    assert "--each 3` with seeds from 7 on" in text

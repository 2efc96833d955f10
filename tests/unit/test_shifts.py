"""The table of effects from trials whose shifts are known."""

from __future__ import annotations

import json
from argparse import Namespace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from strokebench.verdict.hypotheses import Hypothesis
from tools.evidence.again import Answer
from tools.evidence.pairs.__main__ import trials
from tools.evidence.pairs.page import page, reliability
from tools.evidence.pairs.plan import pairs
from tools.evidence.shifts import effects_of
from tools.evidence.workers import gather

RNG = np.random.default_rng(3)
SHIFTS = {"a": {"x": 2.0}, "b": {"x": 1.0, "y": -3.0}}


def record(name: str, grade: str) -> dict[str, Any]:
    names = [] if name == "good" else name.split("+")
    times = {"moderate": 1, "severe": 2, "good": 0}[grade]
    readings = []
    for key, middle in (("x", 0.5), ("y", 5.0), ("z", 1.0)):
        value = middle + RNG.normal(0, 0.02)
        value += times * sum(SHIFTS[each].get(key, 0.0) for each in names)
        lost = key == "z" and "a" in names
        readings.append(
            {"key": key, "value": float("nan") if lost else value, "u": 0.01, "lower": None, "upper": 1.0,
             "place": None, "reason": "", "fault": "", "gate": False}
        )  # fmt: skip
    spec = {"seed": int(RNG.integers(1, 10_000))}
    return {"name": name, "grade": grade, "spec": spec, "readings": readings}


def test_shifts_and_what_is_lost_come_back() -> None:
    trials = [record("good", "good") for _ in range(6)]
    trials += [
        record(name, grade) for name in ("a", "b", "a+b") for grade in ("moderate", "severe") for _ in "123"
    ]
    table = effects_of(trials)
    assert table["good"]["x"][0] == pytest.approx(0.5, abs=0.05)
    for name, key, moderate in (("a", "x", 2.0), ("b", "x", 1.0), ("b", "y", -3.0)):
        row = table["defects"][name][key]
        assert row[0] == pytest.approx(moderate, rel=0.1) and row[2] == pytest.approx(2 * moderate, rel=0.1)
    assert table["defects"]["a"]["z"][4] == 1.0 and "y" not in table["defects"]["a"]


def test_what_two_defects_shift_beyond_their_sum_is_kept_by_pair() -> None:
    def both(grade: str) -> dict[str, Any]:
        found = record("a+b", grade)
        found["readings"][1]["value"] += 4.0 if grade == "moderate" else 8.0
        return found

    grades = ("moderate", "severe")
    trials = [record("good", "good") for _ in range(6)]
    trials += [record(name, grade) for name in ("a", "b") for grade in grades for _ in range(6)]
    table = effects_of(trials + [both(grade) for grade in grades for _ in "123"])
    moderate, _, severe, _ = table["pairs"]["a+b"]["y"]
    assert moderate == pytest.approx(4.0, rel=0.1) and severe == pytest.approx(8.0, rel=0.1)
    assert set(table["pairs"]["a+b"]) == {"y"}
    assert effects_of(trials + [record("a+b", grade) for grade in grades for _ in "123"])["pairs"] == {}


def test_the_rows_of_calibration_count_what_was_right() -> None:
    def trial(name: str, *defects: str) -> tuple[dict[str, Any], Answer]:
        return {"name": name}, Answer(frozenset(), frozenset(), Hypothesis(defects, 0.8))

    (row,) = reliability([trial("a+b", "b", "a"), trial("a+b", "a"), trial("a", "a"), trial("b", "b")])
    assert row.startswith("| 70 to 90 % | 4 | 80 % | 75.0 % (")


def test_parts_that_never_moved_have_a_row_of_their_own() -> None:
    """A trial counts in one place: with the others, or apart when the part truly stood still."""
    refused = {"grade": "severe", "spec": {"family": "first"}, "readings": []}
    turned = refused | {"name": "a+b", "named": ["a", "b"], "moved": True}
    stood = refused | {"name": "a+c", "named": ["blocked"], "moved": False}
    text = page({"fan": [turned, turned, stood]}, planned=4, specimens=1, seed=1)
    rows = {line.split(" | ")[0]: line.split(" | ")[1:3] for line in text.splitlines() if " | " in line}
    assert rows["| all"] == ["2", "100.0 % (34.2-100.0)"]
    assert rows["| apart: hardly moved"] == ["1", "0.0 % (0.0-79.3)"]
    assert "- fan, a+c" not in text


def test_a_page_can_be_made_of_what_is_kept(tmp_path: Path) -> None:
    some = list(trials("wiring", 1))
    path = tmp_path / "kept.jsonl"
    path.write_text(json.dumps({"key": some[1].key, "name": some[1].name}) + "\n", encoding="utf-8")
    found = gather(some, path, Namespace(no_more=True))
    assert [each["name"] for each in found] == [some[1].name]


def test_pairs_come_from_both_families_and_in_both_grades() -> None:
    some = list(trials("cooling-fan", 2))
    cells = {(trial.name, trial.grade, trial.spec.family) for trial in some}
    assert len(cells) == len(some) == 4 * len(pairs("cooling-fan"))

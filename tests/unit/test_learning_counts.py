"""Counting false alarms and power of learnt limits, on invented records of which the answer is known."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from strokebench.parts import load_part
from strokebench.verdict.learning.readings import learnable
from strokebench.verdict.learning.scale import FILE
from tools.evidence.learning.counts import Count, count_cell, highest
from tools.evidence.learning.draw import cell
from tools.evidence.learning.page import page
from tools.evidence.learning.spreads import spreads

PART = "solenoid"
SCALES = learnable(load_part(PART))
SEEDS = {"seed": 1, "again": 2, "tune": 3, "tune_end": 4, "tuned": 2, "good": 16}


def record(seed: int, name: str = "good", **moved: float) -> dict[str, Any]:
    """A record at 12.6 V and 20 C; ``moved``: finding -> its distance from the middle in prior spreads."""
    rng = np.random.default_rng(seed)
    readings: list[dict[str, Any]] = []
    for key, scale in SCALES.items():
        middle = 0.0 if scale.kind == "zero" else 3.0
        at = middle + scale.spread * moved.get(key, float(rng.normal()))
        value = scale.back(at)
        rest = {"lower": None, "upper": None, "place": None, "fault": "x", "gate": False, "reason": ""}
        readings.append({"key": key, "value": value, "u": 0.1 * scale.spread * abs(value), **rest})
    return {"name": name, "grade": "good" if name == "good" else "moderate", "spec": {"seed": seed},
            "verdict": "pass", "readings": readings,
            "surroundings": {"supply_v": 12.6, "part_c": 20.0}}  # fmt: skip


GOOD = [record(seed) for seed in range(40)]


def test_good_parts_pass_and_what_is_far_out_is_found() -> None:
    far = [record(100, "sticky", drop_out_current=-20.0), record(101, "leaking", leak=60.0)]
    near = [record(102, "sound_after_all")]
    counts = count_cell(cell([*GOOD, *far, *near], PART), PART, draws=4, seed=1)
    for count in (3, 5, 10, 20):
        good, bad = counts[count]
        assert good.rates.mean() <= 0.01
        assert good.passes > 0.95
        assert sorted(bad.rates) == [0.0, 1.0, 1.0]


def test_a_refused_part_is_found_and_the_supplys_defects_do_not_count() -> None:
    refused = {"name": "open_winding", "spec": {"seed": 5}, "verdict": "fail", "refused": 31}
    flat = record(9, "weak_battery", drop_out_current=-20.0)
    _good, bad = count_cell(cell([*GOOD, refused, flat], PART), PART, draws=2, seed=1)[3]
    assert list(bad.rates) == [1.0]


def test_who_is_learnt_from_is_not_judged() -> None:
    few = cell(GOOD[:6], PART)
    more = cell([record(seed) for seed in range(200, 230)], PART)
    good, _bad = count_cell(few, PART, draws=3, seed=1, learn_only=more)[20]
    assert len(good.judged) <= 6
    assert sum(good.judged.values()) < 3 * 6, "some of them were learnt from"
    assert 20 not in count_cell(few, PART, draws=3, seed=1)


def test_parts_that_spread_more_than_the_prior_fail_more_often() -> None:
    cells = cell(GOOD, PART)
    rates = [count_cell(cells, PART, 6, 1, spread=by)[3][0].rates.mean() for by in (1.0, 3.0)]
    assert rates[0] <= 0.01 < rates[1]


def test_an_interval_of_no_failures_is_not_zero() -> None:
    assert highest(np.zeros(30)) == pytest.approx(1 - 0.05 ** (1 / 30))
    assert 0.1 < highest(np.array([1.0, *[0.0] * 9])) < 0.5
    assert highest(np.array([0.1, *[0.0] * 29])) >= highest(np.zeros(30)), "a failure does not lower it"
    assert not len(Count().rates)


def test_the_page_says_what_it_is_and_has_a_row_for_each_number_of_parts() -> None:
    some = [*GOOD[:26], record(300, "sticky", drop_out_current=-20.0)]
    text = page({(PART, "first"): some, (PART, "second"): some}, {}, SEEDS, draws=2)
    assert text.startswith("# Limits learned from good parts")
    assert "no real part has been measured" in text
    rows = [line for line in text.splitlines() if line.startswith(f"| {PART} | second | 26, 1 |")]
    assert [line.split(" | ")[3] for line in rows] == ["3", "5", "10", "20"]
    assert all("| 100 % |" in line for line in rows)


def test_the_prior_is_made_from_both_families() -> None:
    rows = spreads({"first": GOOD[:20], "second": GOOD[20:]}, PART)
    for key, scale in SCALES.items():
        if scale.kind == "log":
            assert rows[key][0] == "log"
            assert rows[key][1] == pytest.approx(scale.spread, rel=0.5), key


def test_every_finding_of_a_built_in_part_that_can_be_learnt_has_a_prior() -> None:
    table = json.loads((Path(__file__).parents[2] / "host/strokebench/verdict/learning" / FILE).read_text())
    for part in ("throttle-body", "fuel-pump", "egr-solenoid", "wiring"):
        base = load_part(part)
        missing = set(learnable(base)) - set(table[base.kind])
        assert not missing, (part, missing)

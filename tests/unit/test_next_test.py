"""The test that tells hypotheses apart: worth what it takes from the entropy of the probabilities."""

from __future__ import annotations

import pytest
from strokebench.diagnose.defects import DEFECTS
from strokebench.verdict.hypotheses import Hypothesis
from strokebench.verdict.next_test import CHECKS, USUAL, Check, next_test


def test_every_defect_of_a_test_has_its_entry() -> None:
    assert {name for each in CHECKS for name in each.shows} <= set(DEFECTS)


def test_no_test_shows_the_same_for_all() -> None:
    assert all(len({*each.shows.values(), USUAL}) > 1 for each in CHECKS)


@pytest.mark.parametrize(
    ("first", "second", "said"),
    [
        (("clogged",), ("worn",), "pressure"),
        (("shorted_turns",), ("leaky_freewheel",), "freewheel"),
        (("worn_track",), ("binding",), "by hand"),
        (("lead_resistance",), ("supply_resistance",), "drop"),
    ],
)
def test_two_hypotheses_are_told_apart(first: tuple[str, ...], second: tuple[str, ...], said: str) -> None:
    best = next_test([Hypothesis(first, 0.5, (1.0,)), Hypothesis(second, 0.5, (1.0,))])
    assert best is not None and best.bits == pytest.approx(1.0)
    assert len(best.outcomes) == 2
    by_outcome = {tuple(names) for names in best.outcomes.values()}
    assert by_outcome == {(first,), (second,)}
    apart = [
        each for each in CHECKS if each.outcome(Hypothesis(first, 0)) != each.outcome(Hypothesis(second, 0))
    ]
    assert any(said in each.do for each in apart)


def test_where_nothing_is_open_no_test_is_named() -> None:
    assert next_test([Hypothesis(("clogged",), 0.999), Hypothesis(("worn",), 0.001)]) is None


def test_a_pair_shows_what_both_show() -> None:
    test = Check("Look.", {"clogged": "dirt", "worn": "play"})
    assert test.outcome(Hypothesis(("worn", "clogged"), 1.0)) == "dirt, and play"
    assert test.outcome(Hypothesis(("dragging",), 1.0)) == USUAL

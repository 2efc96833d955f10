"""Two runs on one time axis: segment laid on segment, nothing made up, no spike lost."""

from __future__ import annotations

import numpy as np
import pytest
from strokebench.data.run import Mark, RunData
from strokebench.data.samples import empty
from strokebench.panel.instrument.align import pairs, partners
from strokebench.panel.instrument.sources import PAIR_WORDS, pair_source
from strokebench.parts import load_part

PAUSED = [Mark("rest", 0.0, 1.0), Mark("sweep", 1.0, 3.0), Mark("rest", 3.0, 4.0)]
LONGER = [Mark("rest", 0.0, 1.5), Mark("sweep", 1.5, 3.5), Mark("rest", 3.5, 4.0), Mark("more", 4.0, 4.5)]


def _run(marks: list[Mark], seconds: float, place_s: float) -> RunData:
    """A run with a spike of two rows at ``place_s``."""
    rows = empty(round(1000 * seconds))
    rows["time_s"] = np.arange(len(rows)) * 1e-3
    for name in ("drive", "current_a", "supply_v", "sensor_a_v"):
        rows[name] = 1.0
    at = round(1000 * place_s)
    rows["current_a"][at : at + 2] = 9.0
    return RunData(rows, list(marks))


def test_the_nth_of_a_label_is_laid_on_the_nth() -> None:
    assert [(a.start_s, b.start_s) for a, b in pairs(PAUSED, LONGER)] == [(0.0, 0.0), (1.0, 1.5), (3.0, 3.5)]
    assert pairs(PAUSED, [Mark("other", 0.0, 1.0)]) == []


def test_rows_belong_together_that_are_as_long_after_their_segments_begin() -> None:
    time_s, other_s = np.arange(4000) * 1e-3, np.arange(4500) * 1e-3 + 2e-4
    found = partners(time_s, other_s, pairs(PAUSED, LONGER))
    assert (found[0], found[999], found[1000], found[2999]) == (0, 999, 1500, 3499)
    assert found[3400] == 3900 and np.all(found[3501:] == -1), "B's second rest is half a second shorter"
    assert np.all(partners(time_s, other_s[:0], pairs(PAUSED, LONGER)) == -1)
    assert partners(time_s, other_s, [])[100] == 100, "no segment in common: aligned at the begin"


def test_the_same_spike_in_both_is_no_difference_and_another_is_seen_in_full() -> None:
    profile = load_part("throttle-body")
    first = _run(PAUSED, 4.0, 1.7)
    same = pair_source((first, profile), (_run(LONGER, 4.5, 2.2), profile))
    at = PAIR_WORDS.index("B \u2212 A: Current, A")
    part = same.stretch(0.0, 4.0, 40)
    assert max(v for v in part["high"][at] if v is not None) == 0.0
    other = pair_source((first, profile), (_run(LONGER, 4.5, 2.7), profile)).stretch(0.0, 4.0, 40)
    known = [
        (low, high) for low, high in zip(other["low"][at], other["high"][at], strict=True) if low is not None
    ]
    assert (min(low for low, _ in known), max(high for _, high in known)) == (-8.0, 8.0)
    assert [segment["label"] for segment in part["segments"]] == ["rest", "sweep", "rest"]


@pytest.mark.parametrize("seconds", [0.0, 0.001])
def test_runs_that_ended_at_once_are_compared_without_a_word(seconds: float) -> None:
    profile = load_part("throttle-body")
    source = pair_source((_run([], seconds, 0.0), profile), (_run([], 0.0, 0.0), profile))
    assert len(source.stretch(-np.inf, np.inf, 100)["time"]) == round(1000 * seconds)
    assert source.numbers(0.0, 1.0)["buckets"] == round(1000 * seconds)

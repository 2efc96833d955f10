"""What a comparison draws of a long run: the lowest and highest value of each stretch."""

from __future__ import annotations

import numpy as np
import pytest

compare = pytest.importorskip("strokebench.panel.pages.compare")


@pytest.mark.parametrize("rows", [600_000, 30_001, 3001])
def test_a_spike_of_twenty_milliseconds_is_drawn_in_full(rows: int) -> None:
    """Before: every n-th row was drawn, 12 A looked like 5.5 A."""
    current_a = np.full(rows, 5.0)
    current_a[rows // 3 : rows // 3 + 20] = 12.0
    current_a[rows // 2] = -3.0
    kept = compare.extremes(current_a, compare.POINTS)
    assert len(kept) <= 2 * compare.POINTS and np.all(np.diff(kept) > 0)
    assert current_a[kept].max() == 12.0 and current_a[kept].min() == -3.0


def test_a_short_run_is_drawn_whole_and_gaps_hide_nothing() -> None:
    assert list(compare.extremes(np.zeros(10), 1500)) == list(range(10))
    values = np.full(10_000, np.nan)
    values[4321], values[4322] = 7.0, -7.0
    kept = compare.extremes(values, 50)
    assert {4321, 4322} <= set(kept.tolist())

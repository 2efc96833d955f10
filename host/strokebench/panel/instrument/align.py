"""Two runs on one time axis: each segment of the second is laid on the same segment of the first."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from strokebench.data.run import Mark


def pairs(first: Sequence[Mark], second: Sequence[Mark]) -> list[tuple[Mark, Mark]]:
    """Return the segments that both runs have: the n-th of a label in one and the n-th in the other."""
    seen: dict[str, int] = {}
    by_label: dict[str, list[Mark]] = {}
    for mark in second:
        by_label.setdefault(mark.label, []).append(mark)
    found = []
    for mark in first:
        number = seen.get(mark.label, 0)
        seen[mark.label] = number + 1
        if number < len(by_label.get(mark.label, ())):
            found.append((mark, by_label[mark.label][number]))
    return found


def partners(
    time_s: NDArray[np.float64], other_s: NDArray[np.float64], matched: Sequence[tuple[Mark, Mark]]
) -> NDArray[np.intp]:
    """Return for each of the first run's rows the second's row that belongs to it, -1 where there is none.

    Within a segment rows belong together that are as long after its begin. What the second run's segment is
    longer has no place and is left out. Runs without a common segment are aligned at their begin.
    """
    found = np.full(len(time_s), -1)
    if not len(time_s) or not len(other_s):
        return found
    spans = [(a.start_s, a.end_s, b.start_s, b.end_s) for a, b in matched]
    if not spans:
        spans = [(time_s[0], time_s[-1] + 1, other_s[0], other_s[-1] + 1)]
    for start_s, end_s, other_start_s, other_end_s in spans:
        low, high = np.searchsorted(time_s, (start_s, end_s))
        wanted_s = time_s[low:high] - start_s + other_start_s
        places = _nearest(other_s, wanted_s)
        found[low:high] = np.where(wanted_s < other_end_s, places, -1)
    return found


def _nearest(times_s: NDArray[np.float64], wanted_s: NDArray[np.float64]) -> NDArray[np.intp]:
    """The nearest row as it was measured: between two rows nothing is made up."""
    after = np.clip(np.searchsorted(times_s, wanted_s), 1, max(len(times_s) - 1, 1))
    after = np.minimum(after, len(times_s) - 1)
    before = np.maximum(after - 1, 0)
    return np.where(wanted_s - times_s[before] <= times_s[after] - wanted_s, before, after)

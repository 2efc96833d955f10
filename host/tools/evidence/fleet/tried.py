"""Good parts on benches that nobody learned from, judged by a fleet's limits; how long a golden part's charts
wait until they signal."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray
from strokebench.data.findings import COVERAGE
from strokebench.verdict.control.chart import WEIGHT
from strokebench.verdict.control.chart import limit as edge_of
from strokebench.verdict.learning.learn import Learnt

from tools.evidence.fleet.made import Fleet, Kind, drawn


def false_alarms(learnt: Learnt, kinds: Mapping[str, Kind], fleet: Fleet) -> float:
    """Return the share of a fleet's runs that fail by any limit: a reading beyond it by twice its own u.

    As in a verdict, the reading's own u counts, which does not know what its bench adds.
    """
    found = drawn(kinds, fleet)["readings"]
    failed = np.zeros(len(next(iter(found.values()))), dtype=bool)
    for limit in learnt.limits:
        values, u = found[limit.key], kinds[limit.key].u
        if limit.lower is not None:
            failed |= values + COVERAGE * u < limit.scale.to(limit.lower)[0]
        if limit.upper is not None:
            failed |= values - COVERAGE * u > limit.scale.to(limit.upper)[0]
    return float(np.mean(failed))


def waits(reference: int, findings: int, shift: float, times: int, most: int, seed: int) -> NDArray[np.int64]:
    """Return after how many runs one of the charts signals, ``most`` where none does, shape (times,)."""
    chance, edge = np.random.default_rng(seed), edge_of(reference, findings)
    middle = chance.normal(size=(times, findings)) / np.sqrt(reference)
    spread = np.sqrt(chance.chisquare(reference - 1, size=(times, findings)) / (reference - 1))
    average, found = np.zeros((times, findings)), np.full(times, most)
    for run in range(1, most + 1):
        reading = (shift + chance.normal(size=(times, findings)) - middle) / spread
        average += WEIGHT * (reading - average)
        found = np.where((np.abs(average) > edge).any(axis=1) & (found == most), run, found)
    return found

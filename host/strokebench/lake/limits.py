"""Limits for one part number from all benches, with what a single bench adds to a reading's uncertainty."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from strokebench.lake.spreads import Spreads
from strokebench.parts.learnt import Fleet
from strokebench.verdict.learning.learn import Learnt, limits_from
from strokebench.verdict.learning.readings import learnable
from strokebench.verdict.learning.sums import Sums

if TYPE_CHECKING:
    from strokebench.parts.profile import Profile

BENCH_FREEDOM = 8.0
"""Degrees of freedom that the readings' own uncertainty is worth as a prior of the spread between benches
(judgement, as that of the parts' spread)."""


@dataclass(frozen=True)
class FleetLimits:
    """The limits, and what they rest on: spreads by finding, pseudonyms of the workshops, number of runs."""

    learnt: Learnt
    spreads: Mapping[str, Spreads]
    shops: list[str]
    runs: int


def fleet_limits(spreads: Mapping[str, Spreads], base: Profile, shops: list[str], runs: int) -> FleetLimits:
    """Return limits by the rules of limits that a single shop learns: same prior, same risk of all together.

    The spread that counts is that between parts. A reading's scatter is that of its bench and its repeats,
    where that is more than its own uncertainty says.
    """
    scales = learnable(base)
    sums = {key: (sums_of_fleet(each), scales[key]) for key, each in spreads.items() if key in scales}
    learnt = limits_from({key: sums.get(key, (Sums(), scale)) for key, scale in scales.items()}, base, [])
    learnt.fleet = Fleet(
        benches=max((each.benches for each in spreads.values()), default=1),
        parts=max((each.parts for each in spreads.values()), default=1),
        runs=max(runs, 1),
        shops=shops,
    )
    return FleetLimits(learnt, spreads, shops, runs)


def sums_of_fleet(found: Spreads) -> Sums:
    """Return what limits are made from: the parts' own spread, and what a bench adds to a reading."""
    extra2 = bench_u(found) ** 2 - found.u**2
    return Sums(found.parts, found.mean, (found.parts - 1) * found.part**2, found.u**2, max(extra2, 0.0))


def bench_u(found: Spreads) -> float:
    """Return the standard uncertainty of a reading on one more bench, on the finding's scale.

    The spread between benches is that of few of them and of a prior: the readings' own uncertainty.
    """
    prior2 = max(found.u**2 - found.repeat**2, 0.0)
    freedom = found.benches - 1
    bench2 = (BENCH_FREEDOM * prior2 + freedom * found.bench**2) / (BENCH_FREEDOM + freedom)
    return math.sqrt(bench2 * (1 + 1 / found.benches) + found.repeat**2)

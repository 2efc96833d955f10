"""Benches that do not measure as the fleet does: those apart from the others, and those that drift.

*Apart*: the test by which a shop's stranger among good parts is found (Rosner's), on the benches' means.
*Drifting*: the slope of a bench's readings over the days, against the spread of the fleet. All benches and
findings together point at a good fleet once in a hundred times by each of the two (Bonferroni).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from strokebench.lake.readings import Column
from strokebench.lake.spreads import Spreads, Tally
from strokebench.verdict.learning.belonging import strange
from strokebench.verdict.learning.limits import FAMILY
from strokebench.verdict.learning.scale import Scale
from strokebench.verdict.learning.sums import Sums

FEWEST_PARTS = 5
"""Parts of a bench from which on it is looked at."""
LEAST_DAYS = 7.0
"""A slope over less time is no drift."""


@dataclass(frozen=True)
class Suspect:
    """A bench, the finding that says so most clearly, and how: ``by`` is apart from the fleet's middle, or
    changed from the first to the last day, both on the finding's scale (relative where that is "log").

    ``probability`` of so much or more in a bench that measures as the others.
    """

    bench: str
    key: str
    how: str
    by: float
    probability: float


def apart(
    tallies: Mapping[str, Sequence[Tally]], spreads: Mapping[str, Spreads], scales: Mapping[str, Scale]
) -> list[Suspect]:
    """Return the benches that are apart from the others, the clearest first, each once."""
    usable = {key: each for key, each in spreads.items() if scales[key].kind != "zero" and each.part > 0}
    found: list[Suspect] = []
    for key, spread in usable.items():
        means = {
            each.bench: (each.mean, math.sqrt((spread.part**2 + spread.repeat**2) / each.parts))
            for each in tallies[key] if each.parts >= FEWEST_PARTS
        }  # fmt: skip
        scale = replace(scales[key], spread=spread.u)
        for each in strange(key, means, Sums(), scale, FAMILY / len(usable)):
            middle = scale.to(each.others)[0]
            found.append(Suspect(each.serial, key, "apart", means[each.serial][0] - middle, each.probability))
    return clearest(found)


def drifting(columns: Mapping[str, Column], spreads: Mapping[str, Spreads]) -> list[Suspect]:
    """Return the benches whose readings go one way over the days, the clearest first, each once."""
    usable = {
        key: each for key, each in columns.items() if each.scale.kind != "zero" and spreads[key].part > 0
    }
    tests = sum(len(each.benches) for each in usable.values())
    found = [
        suspect
        for key, each in usable.items()
        for suspect in _slopes(each, spreads[key])
        if suspect.probability <= FAMILY / tests
    ]
    return clearest(found)


def _slopes(column: Column, spread: Spreads) -> list[Suspect]:
    found = []
    for number, bench in enumerate(column.benches):
        here = (column.bench == number) & np.isfinite(column.day)
        _, place = np.unique(column.specimen[here], return_inverse=True)
        counts = np.bincount(place) if len(place) else np.zeros(0)
        if len(counts) < FEWEST_PARTS:
            continue
        values = np.bincount(place, column.value[here]) / counts
        days = np.bincount(place, column.day[here]) / counts
        around = days - days.mean()
        if np.ptp(days) < LEAST_DAYS:
            continue
        scatter2 = spread.part**2 + spread.repeat**2 / counts
        slope = float(np.sum(around * values) / np.sum(around**2))
        u = math.sqrt(float(np.sum(around**2 * scatter2))) / float(np.sum(around**2))
        probability = math.erfc(abs(slope) / u / math.sqrt(2))
        found.append(Suspect(bench, column.key, "drifts", slope * float(np.ptp(days)), probability))
    return found


def clearest(found: Sequence[Suspect]) -> list[Suspect]:
    """Return each bench once, with the finding that says most clearly what is wrong, the clearest first."""
    by_bench: dict[str, Suspect] = {}
    for suspect in sorted(found, key=lambda each: each.probability):
        by_bench.setdefault(suspect.bench, suspect)
    return list(by_bench.values())

"""How much of a finding's spread is from bench to bench, from part to part, and from repeat to repeat.

Two ways. From readings: a mixed model with a random bench and a random part within the bench, fitted by
restricted maximum likelihood (statsmodels' MixedLM; Lindstrom and Bates 1988, JASA 83). From what workshops
exchange, counts, means and variances alone: the nested analysis of variance (ISO 5725-2 for benches, with the
parts' means as the results of a bench; Searle, Casella and McCulloch 1992, Variance Components, ch. 3).
"""

from __future__ import annotations

import math
import warnings
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from strokebench.errors import DataError
from strokebench.lake.place import needed
from strokebench.lake.readings import Column

NOTHING = 1e-12
"""A spread so small, on the finding's scale, that there is nothing to fit."""


@dataclass(frozen=True)
class Tally:
    """What one bench taught about one finding, on its scale; enough for limits, too little for a recording.

    ``mean`` of its parts' means, ``squares``: sum of their squared deviations from it. ``repeats``: that of
    the readings from their part's mean, with ``freedom`` degrees. ``inverse``: sum over the parts of 1 over
    the number of readings. ``u2``: mean square of the readings' own standard uncertainties.
    """

    bench: str
    parts: int
    runs: int
    mean: float
    squares: float
    repeats: float
    freedom: int
    inverse: float
    u2: float


@dataclass(frozen=True)
class Spreads:
    """Standard deviations on the finding's scale, its mean, and of how many benches, parts and runs.

    ``repeat`` of readings of one part on one bench; ``u``: root mean square of their own uncertainties.
    """

    mean: float
    bench: float
    part: float
    repeat: float
    benches: int
    parts: int
    runs: int
    u: float


def tallies(column: Column) -> list[Tally]:
    """Return what each bench taught."""
    found = []
    for number, name in enumerate(column.benches):
        here = column.bench == number
        values, u2 = column.value[here], float(np.mean(column.u[here] ** 2))
        _, place = np.unique(column.specimen[here], return_inverse=True)
        counts = np.bincount(place)
        means = np.bincount(place, values) / counts
        mean = float(np.mean(means))
        found.append(Tally(
            name, len(means), len(values), mean, float(np.sum((means - mean) ** 2)),
            float(np.sum((values - means[place]) ** 2)), len(values) - len(means),
            float(np.sum(1 / counts)), u2,
        ))  # fmt: skip
    return found


def by_moments(found: Sequence[Tally]) -> Spreads:
    """Return the spreads from the benches' tallies. DataError for fewer than two parts on all benches.

    Where no part was measured twice, the readings' own uncertainty is taken for the spread of repeats.
    """
    benches, parts = len(found), sum(each.parts for each in found)
    _enough(benches, parts)
    u2 = sum(each.u2 * each.runs for each in found) / sum(each.runs for each in found)
    freedom = sum(each.freedom for each in found)
    repeat2 = sum(each.repeats for each in found) / freedom if freedom else u2
    inverse = sum(each.inverse for each in found) / parts
    within = sum(each.squares for each in found) / max(parts - benches, 1)
    part2 = max(within - repeat2 * inverse, 0.0)
    bench2 = 0.0
    if benches > 1:
        middle = sum(each.parts * each.mean for each in found) / parts
        between = sum(each.parts * (each.mean - middle) ** 2 for each in found) / (benches - 1)
        each_bench = (parts - sum(each.parts**2 for each in found) / parts) / (benches - 1)
        bench2 = max((between - (part2 + repeat2 * inverse)) / each_bench, 0.0)
    weights = [1 / max(bench2 + (part2 + repeat2 * inverse) / each.parts, NOTHING**2) for each in found]
    mean = sum(w * each.mean for w, each in zip(weights, found, strict=True)) / sum(weights)
    return Spreads(
        mean, math.sqrt(bench2), math.sqrt(part2), math.sqrt(repeat2), benches, parts,
        sum(each.runs for each in found), math.sqrt(u2),
    )  # fmt: skip


def by_model(column: Column) -> Spreads:
    """Return the spreads from readings, by the mixed model. DataError for fewer than two parts."""
    start = by_moments(tallies(column))
    size = float(np.std(column.value))
    if size < NOTHING:
        return start
    values, repeated = (column.value - start.mean) / size, start.runs > start.parts
    fitted = _fit(column, values, repeated)
    bench2 = float(np.asarray(fitted.cov_re).ravel()[0]) * size**2
    rest2 = float(fitted.scale) * size**2
    mean = start.mean + float(fitted.fe_params[0]) * size
    part2 = float(fitted.vcomp[0]) * size**2 if repeated else max(rest2 - start.u**2, 0.0)
    repeat2 = rest2 if repeated else start.u**2
    return Spreads(
        mean, math.sqrt(bench2), math.sqrt(part2), math.sqrt(repeat2), start.benches, start.parts, start.runs,
        start.u,
    )  # fmt: skip


def _fit(column: Column, values: Any, repeated: bool) -> Any:
    """Return the fitted model; without repeats the part's spread stays within the rest."""
    mixed = needed("statsmodels.regression.mixed_linear_model")
    ones, within = np.ones((len(values), 1)), None
    if repeated:
        designs = [
            (column.specimen[here][:, None] == np.unique(column.specimen[here])).astype(float)
            for here in (column.bench == number for number in range(len(column.benches)))
        ]
        names = [[str(n) for n in range(design.shape[1])] for design in designs]
        within = mixed.VCSpec(["part"], [names], [designs])
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # a spread of zero is at the edge of what it may be, and no mistake
        model = mixed.MixedLM(values, ones, groups=column.bench, exog_re=ones, exog_vc=within)
        return model.fit(reml=True, method=["lbfgs"])


def _enough(benches: int, parts: int) -> None:
    if parts < 2 or parts <= benches:
        raise DataError(
            f"{parts} good parts on {benches} benches cannot show what is the bench's and what the part's.",
            "Benches need two or more parts each.",
        )


def merged(shops: Iterable[Sequence[Tally]]) -> list[Tally]:
    """Return the tallies of several workshops together: no bench is in two of them."""
    found = [each for tallies_ in shops for each in tallies_]
    names = [each.bench for each in found]
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise DataError(f"Two of the files count the bench {twice[0]}.", "Name each workshop's file once.")
    return found

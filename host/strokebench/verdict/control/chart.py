"""A golden part's findings as control charts, one a finding, and what they say together."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from strokebench.data.charts import FEWEST, REFERENCE
from strokebench.data.findings import COVERAGE
from strokebench.verdict.control.ewma import averages, width_for
from strokebench.verdict.learning.readings import Readings
from strokebench.verdict.learning.scale import Scale

WEIGHT = 0.2
"""Of the newest reading: best for shifts of about one standard deviation (Lucas and Saccucci 1990)."""
RUN_LENGTH = 500.0
"""Runs of the golden part until one of all its charts signals although nothing has changed, on average and at
least: limits are widened for a middle and a spread that few runs show (see :func:`limit`)."""
LEAST = 0.05
"""A spread below this share of a reading's own uncertainty is taken for it: few runs may agree by chance."""


@dataclass(frozen=True)
class Chart:
    """One finding of the golden part on one bench, on the finding's scale.

    ``middle`` and ``spread`` of the reference runs. ``average``: of each run after them, in ``spread``s from
    the middle, shape (runs after,); beyond ``edge`` it signals. ``u``: of a reading.
    """

    key: str
    scale: Scale
    middle: float
    spread: float
    u: float
    average: NDArray[np.float64]
    edge: float

    @property
    def now(self) -> float:
        """The average after the last run, in spreads; 0 without one."""
        return float(self.average[-1]) if len(self.average) else 0.0

    @property
    def signals(self) -> bool:
        """Whether it is beyond its limit now."""
        return abs(self.now) > self.edge

    @property
    def shift(self) -> float:
        """By how much the bench's readings have moved, on the scale."""
        return self.now * self.spread

    @property
    def of_guard_band(self) -> float:
        """The same as a share of the band that a verdict keeps from its limits: at 1 verdicts change."""
        return abs(self.shift) / (COVERAGE * self.u) if self.u > 0 else math.inf


def charts(runs: Sequence[Readings], scales: Mapping[str, Scale], reference: int = REFERENCE) -> list[Chart]:
    """Return the charts of a golden part's runs on one bench, in order of time; none with too few runs.

    Findings that end at zero, or that a reference run does not have, are left out.
    """
    first = runs[:reference]
    if len(first) < FEWEST:
        return []
    keys = [
        key for key, scale in scales.items() if scale.kind != "zero" and all(key in each for each in first)
    ]
    edge = limit(len(first), len(keys))
    return [_chart(key, scales[key], runs, len(first), edge) for key in keys]


def limit(reference: int, findings: int) -> float:
    """Return the limit of each of so many charts, in the spread of so many reference runs.

    The width for a known middle and spread is that of the run length, findings taken together (Bonferroni).
    Instead of the normal distribution's quantile it is Student's of the same tail, and the middle's own
    variance is added to the average's (after Jones, Champ and Rigdon 2001, Technometrics 43, who show how
    much shorter the run length is without it).
    """
    from scipy.stats import norm, t

    known = width_for(WEIGHT, RUN_LENGTH * max(findings, 1))
    width = float(t.isf(norm.sf(known), reference - 1))
    return width * math.sqrt(WEIGHT / (2 - WEIGHT) + 1 / reference)


def _chart(key: str, scale: Scale, runs: Sequence[Readings], reference: int, edge: float) -> Chart:
    values = np.array([each[key][0] for each in runs[:reference]])
    u = math.sqrt(float(np.mean([each[key][1] ** 2 for each in runs[:reference]])))
    middle, spread = float(np.mean(values)), max(float(np.std(values, ddof=1)), LEAST * u)
    after = np.array([each[key][0] for each in runs[reference:] if key in each])
    standard = (after - middle) / spread if spread > 0 else np.zeros(len(after))
    return Chart(key, scale, middle, spread, u, averages(standard, WEIGHT), edge)

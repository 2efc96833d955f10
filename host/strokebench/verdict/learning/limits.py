"""Limits that let few good parts fail, from the sums of those that were measured and a prior of their spread.

The spread's prior is a scaled inverse chi-square with ``freedom`` degrees; with the parts' own it gives
Student's t for one more part (Gelman and others, Bayesian Data Analysis, 3.2; without a prior it is the
prediction interval of Hahn 1969, JASA 64, and of ISO 16269-8). All limits of a part together may fail one
good part in a hundred: each side of each finding gets its share (Bonferroni).

A limit is where true values of good parts end. A verdict adds the guard band of 2 u to it. Where a
reading's own uncertainty is large against the parts' spread, that band alone would let 2.5 % fail, and
hardly any good part would pass: so the limit is also so far that a good reading with its guard band passes
in 95 of 100 parts.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

from strokebench.data.findings import COVERAGE
from strokebench.verdict.learning.scale import Scale
from strokebench.verdict.learning.sums import Sums

FEWEST = 3
"""Parts from which on limits are learnt: with two the prior alone would speak."""
FAMILY = 0.01
"""Share of good parts that may fail in any limit, all limits together."""
PASSES = 1.645
"""Standard deviations within which, on one side, lie 95 of 100 readings of good parts."""
WORTHWHILE = 0.1
"""Share by which a limit must come closer to be worth more parts."""


@dataclass(frozen=True)
class Spread:
    """Spread of one more good part around the mean, and of its mean, on the finding's scale."""

    sigma: float
    freedom: float
    parts: int

    def reach(self, share: float, u: float = 0.0, bench: float = 0.0) -> float:
        """Return how far beyond the mean a limit lies that a ``share`` of good parts exceeds.

        ``u``: standard uncertainty of a reading, which a verdict's guard band knows. ``bench``: what a single
        bench adds to its readings' scatter besides, which the guard band does not know.
        """
        t = quantile(share, self.freedom)
        around = self.sigma * math.sqrt(1 + 1 / self.parts)
        read = math.hypot(around, u, bench)
        return max(t * around, t * read - COVERAGE * u, PASSES * read + COVERAGE * u)


@lru_cache(maxsize=4096)
def quantile(share: float, freedom: float) -> float:
    """Return Student's t that a ``share`` exceeds."""
    from scipy.stats import t

    return float(t.isf(share, freedom))


def spread_of(sums: Sums, scale: Scale) -> Spread:
    """Return the spread after ``sums`` (at least one part), by the scale's prior and the parts' own."""
    freedom = scale.freedom + sums.parts - 1
    variance = (scale.freedom * scale.spread**2 + sums.squares) / freedom
    return Spread(math.sqrt(variance), freedom, sums.parts)


def share_each(sides: int) -> float:
    """Return what each of ``sides`` limits may fail of good parts."""
    return FAMILY / max(sides, 1)


def limits_of(sums: Sums, scale: Scale, share: float) -> tuple[float, float]:
    """Return the readings between which good parts lie, in the finding's unit, at 12.6 V and 20 C."""
    reach = spread_of(sums, scale).reach(share, math.sqrt(sums.u2), math.sqrt(sums.bench2))
    upper = scale.back(sums.mean + reach)
    return scale.back(sums.mean - reach), max(upper, scale.floor) if scale.kind == "zero" else upper


def more_parts(sums: Sums, scale: Scale, share: float) -> tuple[int, float] | None:
    """Return how many more parts bring a limit closer by a worthwhile share, and that share.

    If the spread stays what it is now. None when 40 more would not.
    """
    now = spread_of(sums, scale)
    u, bench = math.sqrt(sums.u2), math.sqrt(sums.bench2)
    reach = now.reach(share, u, bench)
    for more in range(1, 41):
        then = Spread(now.sigma, now.freedom + more, now.parts + more).reach(share, u, bench)
        if then < (1 - WORTHWHILE) * reach:
            return more, 1 - then / reach
    return None

"""What is kept of the good parts' readings of one finding: enough for limits, too little to give a part away.

Count, mean and sum of squared deviations are sufficient for mean and spread of a normal distribution. Two of
them merge without the readings (Chan, Golub and LeVeque 1983, Algorithms for computing the sample variance,
The American Statistician 37).
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True)
class Sums:
    """``parts`` values with their ``mean`` and ``squares``, the sum of squared deviations from it.

    ``u2``: mean square of the values' standard uncertainties. ``bench2``: variance of a reading, from bench
    to bench and from repeat to repeat, beyond ``u2``; only a fleet of benches shows it. On the scale on which
    the values are normal (:mod:`strokebench.verdict.learning.scale`), referred to 12.6 V and 20 C.
    """

    parts: int = 0
    mean: float = 0.0
    squares: float = 0.0
    u2: float = 0.0
    bench2: float = 0.0

    def merged(self, other: Sums) -> Sums:
        """Return the sums of both sets of parts together."""
        parts = self.parts + other.parts
        if not parts:
            return self
        apart, share = other.mean - self.mean, other.parts / parts
        return Sums(
            parts,
            self.mean + apart * share,
            self.squares + other.squares + apart**2 * self.parts * share,
            self.u2 + (other.u2 - self.u2) * share,
            self.bench2 + (other.bench2 - self.bench2) * share,
        )

    @property
    def spread(self) -> float:
        """Standard deviation of the values; 0 of less than two."""
        return math.sqrt(self.squares / (self.parts - 1)) if self.parts > 1 else 0.0


def sums_of(values: Iterable[tuple[float, float]]) -> Sums:
    """Return the sums of values with their standard uncertainties, one of each part."""
    total = Sums()
    for value, u in values:
        total = total.merged(Sums(1, value, 0.0, u**2))
    return total

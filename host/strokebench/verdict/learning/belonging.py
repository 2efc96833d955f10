"""Which of the good parts does not belong: each is laid beside what the others teach.

Leaving a part out, its reading over the others' predictive spread is Student's t; without a prior that is the
test of Grubbs (1950; NIST/SEMATECH e-Handbook 1.3.5.17.1). All parts and findings together may point at a good
set of parts once in a hundred times (Bonferroni).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from strokebench.verdict.learning.limits import FAMILY, spread_of
from strokebench.verdict.learning.readings import Readings
from strokebench.verdict.learning.scale import Scale
from strokebench.verdict.learning.sums import Sums, sums_of


@dataclass(frozen=True)
class Stranger:
    """A part that does not seem to belong: the finding that says so most clearly, its reading, the others'."""

    serial: str
    key: str
    value: float
    others: float
    probability: float
    """Of so large a distance in a part that belongs."""


def strangers(
    parts: Mapping[str, Readings], before: Mapping[str, Sums], scales: Mapping[str, Scale], sides: int
) -> list[Stranger]:
    """Return the parts that do not seem to belong, the clearest first.

    They are found one after the other, each beside those that are left: two strangers do not hide each other
    while the others outnumber them. ``before``: what was learnt earlier; those parts are not looked at again.
    """
    found: list[Stranger] = []
    left = dict(parts)
    least = FAMILY / max(1, len(parts) * sides)
    while left:
        farthest = min(
            (stranger for serial in left if (stranger := _farthest(serial, left, before, scales))),
            key=lambda stranger: stranger.probability, default=None,
        )  # fmt: skip
        if farthest is None or farthest.probability > least:
            break
        found.append(farthest)
        del left[farthest.serial]
    return found


def _farthest(
    serial: str, parts: Mapping[str, Readings], before: Mapping[str, Sums], scales: Mapping[str, Scale]
) -> Stranger | None:
    """The finding in which a part is farthest from the others."""
    looked = [
        _beside(serial, key, parts, before.get(key, Sums()), scales[key]) for key in parts[serial]
    ]
    return min(
        (stranger for stranger in looked if stranger), key=lambda stranger: stranger.probability, default=None
    )


def _beside(
    serial: str, key: str, parts: Mapping[str, Readings], before: Sums, scale: Scale
) -> Stranger | None:
    others = before.merged(
        sums_of(readings[key] for other, readings in parts.items() if other != serial and key in readings)
    )
    if not others.parts:
        return None
    value, u = parts[serial][key]
    spread = spread_of(others, scale)
    around = math.hypot(spread.sigma * math.sqrt(1 + 1 / others.parts), u)
    probability = tail(abs(value - others.mean) / around, spread.freedom) if around > 0 else 1.0
    return Stranger(serial, key, scale.back(value), scale.back(others.mean), probability)


def tail(t: float, freedom: float) -> float:
    """Return the probability of Student's t beyond ``t``, on one side."""
    from scipy.special import stdtr

    return float(stdtr(freedom, -t))

"""Which of the good parts does not belong: the farthest ones are laid beside what the rest teaches.

The generalised test of Rosner (1983, Technometrics 25; NIST/SEMATECH e-Handbook 1.3.5.17.3), finding by
finding, with the prior spread beside the parts' own. The farthest part is taken away, then the farthest of
the rest, up to nearly half of them; the last that is too far from those that are left, and all taken away
before it, do not belong. So two strangers do not hide each other. All parts and findings together point at
a good set of parts once in a hundred times (Bonferroni).
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
    """A part that does not seem to belong: the finding that says so most clearly, its reading, the rest's
    middle.

    ``probability``: of a distance so large or larger in a part that belongs.
    """

    serial: str
    key: str
    value: float
    others: float
    probability: float


def strangers(
    parts: Mapping[str, Readings], before: Mapping[str, Sums], scales: Mapping[str, Scale]
) -> list[Stranger]:
    """Return the parts that do not seem to belong, the clearest first.

    ``before``: what was learnt earlier; it counts as the rest, and those parts are not looked at again.
    """
    clearest: dict[str, Stranger] = {}
    for key, scale in scales.items():
        values = {serial: readings[key] for serial, readings in parts.items() if key in readings}
        for found in strange(key, values, before.get(key, Sums()), scale, FAMILY / len(scales)):
            known = clearest.get(found.serial)
            if known is None or found.probability < known.probability:
                clearest[found.serial] = found
    return sorted(clearest.values(), key=lambda found: found.probability)


def strange(
    key: str, values: Mapping[str, tuple[float, float]], before: Sums, scale: Scale, risk: float
) -> list[Stranger]:
    """Return the parts that do not belong by one finding, those taken away first first.

    ``values`` and standard uncertainties are on the ``scale``; ``risk`` is that of pointing at a good set.
    """
    taken: list[Stranger] = []
    left, last = dict(values), 0
    while len(taken) < (len(values) - 1 + bool(before.parts)) // 2:
        middle = before.merged(sums_of(left.values())).mean
        serial = max(left, key=lambda name: abs(left[name][0] - middle))
        value, u = left.pop(serial)
        rest = before.merged(sums_of(left.values()))
        taken.append(_beside(serial, key, value, u, rest, scale))
        if taken[-1].probability <= risk / (len(left) + 1):
            last = len(taken)
    return taken[:last]


def _beside(serial: str, key: str, value: float, u: float, rest: Sums, scale: Scale) -> Stranger:
    spread = spread_of(rest, scale)
    around = math.hypot(spread.sigma * math.sqrt(1 + 1 / rest.parts), u)
    probability = 2 * tail(abs(value - rest.mean) / around, spread.freedom) if around > 0 else 1.0
    return Stranger(serial, key, scale.back(value), scale.back(rest.mean), probability)


def tail(t: float, freedom: float) -> float:
    """Return the probability of Student's t beyond ``t``, on one side."""
    from scipy.special import stdtr

    return float(stdtr(freedom, -t))

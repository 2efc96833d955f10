"""Which defects explain what failed: ranked hypotheses of one, two or three, with their probabilities.

Each defect that a failing finding points to is a candidate. A hypothesis says that some of them are there, no
others. It predicts every finding: where good parts lie, plus what each of its defects shifts at its size
(:mod:`strokebench.verdict.effects`), at its place. How well that fits, averaged over sizes and both families
of parts, times a prior for each defect, is its weight. The weights of all hypotheses add up to 1.

A failure that the best hypothesis predicts without the defect it points to follows from it. What it does not
predict stays a failure of its own.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations, product

import numpy as np

from strokebench.data.findings import Finding, Verdict
from strokebench.diagnose.stats import Floats
from strokebench.verdict.effects import SIZES, Effects, in_tolerance

NOTHING_KNOWN = Effects({}, {})
MOST = 3
"""Defects in a hypothesis at most."""
PRIOR = 0.03
"""Probability of each candidate before the findings are looked at (judgement)."""
BY_ITSELF = 0.01
"""The same of a name that is rather a symptom, such as "slow": no part has it for no reason (judgement)."""
ANYWHERE = 0.1
"""Density, per tolerance, of a finding that a defect of its own may put anywhere: one in ten tolerances."""
SURPRISE = 0.0003
"""Density of a finding that something unknown moved."""
FREEDOM = 4
"""Degrees of freedom of Student's t around a prediction: few specimens are behind each spread, so the tails
are long."""
TAILS = math.gamma((FREEDOM + 1) / 2) / (math.sqrt(FREEDOM * math.pi) * math.gamma(FREEDOM / 2))
SAME_PLACE = 8.0
"""% of travel within which a defect's effect on a finding with a place is looked for."""


@dataclass(frozen=True)
class Hypothesis:
    """Defects that are there, no others; the probability among all that were tried; best size of each."""

    defects: tuple[str, ...]
    probability: float
    sizes: tuple[float, ...] = ()


def rank(findings: Sequence[Finding], families: Sequence[Effects]) -> list[Hypothesis]:
    """Return the hypotheses over the defects that failing findings point to, most probable first."""
    failing = [finding for finding in findings if finding.verdict is Verdict.FAIL and finding.fault]
    candidates = list(dict.fromkeys(finding.fault for finding in failing))
    if not candidates:
        return []
    seen = [finding for finding in findings if _judged(finding)]
    found = []
    for count in range(1, min(MOST, len(candidates)) + 1):
        for names in combinations(candidates, count):
            tried = [weigh(names, seen, effects) for effects in families or (NOTHING_KNOWN,)]
            found.append((names, _mean([weight for weight, _ in tried]), max(tried)[1]))
    most = max(weight for _, weight, _ in found)
    whole = sum(math.exp(weight - most) for _, weight, _ in found)
    ranked = [Hypothesis(names, math.exp(weight - most) / whole, sizes) for names, weight, sizes in found]
    return sorted(ranked, key=lambda hypothesis: -hypothesis.probability)


def _judged(finding: Finding) -> bool:
    return finding.known and math.isfinite(finding.u) and not finding.for_information


def weigh(
    names: tuple[str, ...], seen: Sequence[Finding], effects: Effects
) -> tuple[float, tuple[float, ...]]:
    """Return the logarithm of a hypothesis's weight, and the sizes that fit best."""
    sizes = np.array(list(product(SIZES, repeat=len(names))))
    total = np.zeros(len(sizes))
    for finding in seen:
        total += np.log(_density(finding, names, sizes, seen, effects))
    best = int(np.argmax(total))
    weight = _mean(total) + sum(_odds(PRIOR if name in effects.defects else BY_ITSELF) for name in names)
    return weight, tuple(float(size) for size in sizes[best])


def _mean(logarithms: Sequence[float] | Floats) -> float:
    """Logarithm of the mean of what has these logarithms."""
    most = max(logarithms)
    return float(most + math.log(float(np.mean(np.exp(np.asarray(logarithms) - most)))))


def _odds(probability: float) -> float:
    """Logarithm of the odds."""
    return math.log(probability / (1 - probability))


def _density(
    finding: Finding, names: tuple[str, ...], sizes: Floats, seen: Sequence[Finding], effects: Effects
) -> Floats:
    """Probability density of a finding, per tolerance, at each combination of sizes."""
    value, u = in_tolerance(finding)
    shift, spread = predicted(finding, names, sizes, seen, effects)
    if shift is None:
        return np.full(len(sizes), ANYWHERE if finding.fault in names else _silent(finding))
    sigma = np.hypot(spread, u)
    likely = TAILS * (1 + ((value - shift) / sigma) ** 2 / FREEDOM) ** (-(FREEDOM + 1) / 2) / sigma
    return np.maximum(likely, ANYWHERE if finding.fault in names and _out(finding) else SURPRISE)


def _out(finding: Finding) -> bool:
    return finding.verdict is Verdict.FAIL


def _silent(finding: Finding) -> float:
    """A finding that the table does not know: a failure needs a reason, anything else says nothing."""
    return SURPRISE if _out(finding) else ANYWHERE


def predicted(
    finding: Finding, names: tuple[str, ...], sizes: Floats, seen: Sequence[Finding], effects: Effects
) -> tuple[Floats | None, Floats]:
    """Return a finding's predicted value in its tolerance and its spread, at each combination of sizes.

    None for a finding that the table does not know.
    """
    if finding.key not in effects.good:
        return None, np.zeros(len(sizes))
    mean, spread = effects.good[finding.key]
    shift, variance = np.full(len(sizes), mean), np.full(len(sizes), spread**2)
    for column, name in enumerate(names):
        effect = effects.defects.get(name, {}).get(finding.key)
        if effect is not None and _at_its_place(name, finding, seen):
            more, around = effect.at(sizes[:, column])
            shift, variance = shift + more, variance + around**2
    return shift, np.sqrt(variance)


def _at_its_place(name: str, finding: Finding, seen: Sequence[Finding]) -> bool:
    """False when both the defect's own finding and this one have a place, and these lie apart."""
    if finding.place is None or finding.fault == name:
        return True
    places = [
        other.place for other in seen if other.fault == name and _out(other) and other.place is not None
    ]
    return not places or min(abs(place - finding.place) for place in places) <= SAME_PLACE

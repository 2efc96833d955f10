"""How well a hypothesis predicts the findings, at all sizes of its defects at once.

Each finding is predicted where good parts have it, plus what each defect shifts at its size and at its place
(:mod:`strokebench.verdict.effects`), with Student's t around it: few specimens are behind each spread, so the
tails are long.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from strokebench.data.findings import Finding, Verdict
from strokebench.diagnose.defects import DEFECTS
from strokebench.diagnose.stats import Floats
from strokebench.verdict.effects import SIZES, Effects, in_tolerance

ANYWHERE = 0.1
"""Density, per tolerance, of a failing finding that a defect of its own may put anywhere: one in ten
tolerances."""
SURPRISE = 0.0005
"""Density of a finding that something unknown moved."""
FREEDOM = 4
"""Degrees of freedom of Student's t."""
TAILS = math.gamma((FREEDOM + 1) / 2) / (math.sqrt(FREEDOM * math.pi) * math.gamma(FREEDOM / 2))
SAME_PLACE = 8.0
"""% of travel within which a defect's effect on a finding with a place is looked for."""
EXPLAINED = 0.02
"""Density of a failing finding whose defect is declared to follow from one that is there."""
OVERLOOKED = 0.15
"""Factor for each defect that failing findings point to and that is not there: pointing is evidence too."""
LEAST_REACH = 1e-3
"""Reach, in tolerances, of an effect that is known by word alone, or only now and then."""
LOST_WEIGHT = 0.7
"""Findings are lost together: all that are lost count as so many findings, not each by itself (judgement)."""
LOST_LEAST = 0.03
"""Least probability that a finding has no value, or has one, for a reason that nobody knows (judgement)."""


@dataclass(frozen=True)
class Seen:
    """The findings of a run that hypotheses are weighed by: ``known`` with a value and in the table,
    ``lost`` without a value, ``foreign`` not in the table."""

    known: list[Finding]
    lost: list[Finding]
    foreign: list[Finding]
    effects: Effects
    value: Floats
    variance: Floats

    @classmethod
    def of(cls, findings: Sequence[Finding], effects: Effects) -> Seen:
        """Return the findings that have limits, sorted."""
        limited = [each for each in findings if each.lower is not None or each.upper is not None]
        in_table = [each for each in limited if each.key in effects.good]
        known = [each for each in in_table if each.known and math.isfinite(each.u)]
        counted = [in_tolerance(each) for each in known]
        spread = np.array([effects.good[each.key][1] for each in known])
        return cls(
            known,
            [each for each in in_table if not each.known],
            [each for each in limited if each.key not in effects.good and each.known],
            effects,
            np.array([value for value, _ in counted]),
            np.array([u for _, u in counted]) ** 2 + spread**2,
        )

    @property
    def pointed(self) -> set[str]:
        """Defects that failing findings point to."""
        return {each.fault for each in [*self.known, *self.foreign] if failed(each) and each.fault}

    def shift(self, name: str) -> tuple[Floats, Floats]:
        """Return what a defect adds to mean and variance of each known finding, sizes x findings."""
        shift = np.zeros((len(SIZES), len(self.known)))
        variance = np.zeros_like(shift)
        for column, finding in enumerate(self.known):
            effect = self.effects.effect(name, finding.key)
            if effect is not None and at_its_place(name, finding, self.known):
                shift[:, column], spread = effect.at(SIZES)
                variance[:, column] = spread**2
        return shift, variance

    def together(self, first: str, second: str) -> tuple[Floats, Floats]:
        """Return what two defects add to mean and variance beyond their sum, sizes x sizes x findings.

        It grows with the geometric mean of their sizes (judgement): without either of them it is nought.
        """
        sizes = np.sqrt(np.outer(SIZES, SIZES))
        shift = np.zeros((*sizes.shape, len(self.known)))
        variance = np.zeros_like(shift)
        for column, finding in enumerate(self.known):
            effect = self.effects.together(first, second, finding.key)
            if effect is not None and all(
                at_its_place(name, finding, self.known) for name in (first, second)
            ):
                shift[..., column], spread = effect.at(sizes)
                variance[..., column] = spread**2
        return shift, variance

    def predict(self, names: tuple[str, ...]) -> tuple[Floats, Floats]:
        """Return mean and variance of each known finding, an axis of sizes for each defect before it."""
        mean: Floats = np.array([self.effects.good[each.key][0] for each in self.known])
        variance = self.variance
        for axis, name in enumerate(names):
            others = tuple(place for place in range(len(names)) if place != axis)
            shift, more = self.shift(name)
            mean = mean + np.expand_dims(shift, others)
            variance = variance + np.expand_dims(more, others)
        for axes in combinations(range(len(names)), 2):
            if any(pair == tuple(sorted(names[axis] for axis in axes)) for pair in self.effects.pairs):
                others = tuple(place for place in range(len(names)) if place not in axes)
                shift, more = self.together(*(names[axis] for axis in axes))
                mean = mean + np.expand_dims(shift, others)
                variance = variance + np.expand_dims(more, others)
        return mean, variance

    def logarithm(self, names: tuple[str, ...]) -> Floats:
        """Return the logarithm of the likelihood at each combination of sizes."""
        each = self.each(names)
        return np.asarray(
            each.sum(axis=-1) + self._foreign(names) + self._overlooked(names) + self._lost(names), float
        )

    def each(self, names: tuple[str, ...]) -> Floats:
        """Return the logarithm of the density of each known finding, per tolerance."""
        mean, variance = self.predict(names)
        far = (self.value - mean) ** 2 / variance
        likely = TAILS * (1 + far / FREEDOM) ** (-(FREEDOM + 1) / 2) / np.sqrt(variance)
        return np.log(np.maximum(likely, [self._least(finding, names) for finding in self.known]))

    def _least(self, finding: Finding, names: tuple[str, ...]) -> float:
        if not failed(finding):
            return SURPRISE
        if finding.fault in names:
            return ANYWHERE
        follows = any(
            finding.fault in explained_by(name) and at_its_place(name, finding, self.known) for name in names
        )
        return EXPLAINED if follows else SURPRISE

    def _foreign(self, names: tuple[str, ...]) -> float:
        """Findings that the table does not know: a failure needs a reason, anything else says nothing."""
        return sum(math.log(self._least(each, names) / ANYWHERE) for each in self.foreign if failed(each))

    def _overlooked(self, names: tuple[str, ...]) -> float:
        """Names that failing findings point to, and that are neither there nor declared to follow."""
        missing = [name for name in self.pointed if name not in names and name in self.effects.defects]
        return len(missing) * math.log(OVERLOOKED)

    def _lost(self, names: tuple[str, ...]) -> float:
        """What is lost, as one thing that happened, and what is not, as another."""
        by_end: dict[bool, list[float]] = {True: [], False: []}
        for finding in [*self.known, *self.lost]:
            there = 1 - self.effects.lost.get(finding.key, 0.0)
            for name in names:
                effect = self.effects.effect(name, finding.key)
                there *= 1 - (effect.lost if effect else 0.0)
            there = min(max(there, LOST_LEAST), 1 - LOST_LEAST)
            by_end[finding.known].append(math.log(there if finding.known else 1 - there))
        return LOST_WEIGHT * sum(sum(each) / len(each) for each in by_end.values() if each)


def explained_by(name: str) -> tuple[str, ...]:
    """Return what a defect is declared to explain."""
    return DEFECTS[name].explains if name in DEFECTS else ()


def at_its_place(name: str, finding: Finding, findings: Sequence[Finding]) -> bool:
    """Return False when both the defect's own finding and this one have a place, and these lie apart."""
    if finding.place is None or finding.fault == name:
        return True
    own = [each for each in findings if each.fault == name and failed(each)]
    places = [each.place for each in own if each.place is not None]
    return not places or min(abs(place - finding.place) for place in places) <= SAME_PLACE


def moved_by(finding: Finding, defects: tuple[str, ...], effects: Effects) -> tuple[str, float]:
    """Return the defect that moves a failing finding furthest out, and how far, in its tolerance; an empty
    name where its own defect is there, or none moves it."""
    if finding.verdict is not Verdict.FAIL or finding.fault in (*defects, ""):
        return "", 0.0
    value, _ = in_tolerance(finding)
    middle = effects.good.get(finding.key, (0.0, 0.0))[0]
    best = ("", 0.0)
    for name in defects:
        effect = effects.effect(name, finding.key)
        reach = (effect.severe if effect else 0.0) * (1 if value > middle else -1)
        if reach <= 0 and effect is not None and effect.spread_severe > abs(value - middle) / 3:
            reach = LEAST_REACH  # sometimes it moves it, sometimes not
        if reach <= 0 and finding.fault in explained_by(name):
            reach = LEAST_REACH
        best = max(best, (name, reach), key=lambda pair: pair[1])
    return best


def failed(finding: Finding) -> bool:
    """True for a finding that is out of its limits by its uncertainty."""
    return finding.verdict is Verdict.FAIL


def mean_of(logarithms: Sequence[float] | Floats) -> float:
    """Return the logarithm of the mean of what has these logarithms."""
    each = np.asarray(logarithms, float)
    most = float(np.max(each))
    return most + math.log(float(np.mean(np.exp(each - most))))

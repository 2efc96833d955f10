"""The reasoning behind a run's names, step by step: nothing that decided stays unseen.

The same steps are printed by ``strokebench why`` and stand in the report's annex.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from strokebench.data.findings import Finding
from strokebench.diagnose.stats import Floats
from strokebench.verdict.decision import (
    FOLLOWS,
    SUPPLY,
    settle,
    suspects,
    unsettled,
    with_suspects,
    without_consequences,
)
from strokebench.verdict.effects import NOTHING_KNOWN, SIZES, Effects, out_of_tolerance, table
from strokebench.verdict.hypotheses import Hypothesis, contradiction, rank
from strokebench.verdict.likelihood import Seen, failed
from strokebench.verdict.next_test import NextTest, next_test

SHOWN = 6
"""Hypotheses that are written out."""
SPEAKS = 1.5
"""A finding is written out when it makes the leading hypothesis so many times likelier, or less likely, than
the next or than a good part."""


@dataclass(frozen=True)
class Prediction:
    """A finding, in its unit: where good parts have it, where the leading hypothesis and the next have it
    (mean and standard deviation), and by which factors it speaks for the leading one against each.
    ``together``: whether two of the leading defects move it otherwise than the sum of both."""

    finding: Finding
    good: tuple[float, float]
    leading: tuple[float, float]
    other: tuple[float, float] | None
    against_good: float
    against_other: float | None
    together: bool = False


@dataclass(frozen=True)
class Reasoning:
    """All steps, in their order.

    ``pointed``: findings out of limits, as they were read. ``declared``: those of them that follow from a
    defect that no table knows. ``left_out``: defects that cannot be there by themselves, and the failure that
    neither follows from them nor could be told beside them. ``ranked``: the hypotheses. ``predictions``:
    what decided between them. ``settled``: the findings out of limits in the end, with what they show or
    follow from. ``suspects``: likely defects that no failing finding shows. ``test``: what tells the
    hypotheses apart.
    """

    pointed: list[Finding]
    declared: list[Finding]
    left_out: list[tuple[str, Finding]]
    ranked: list[Hypothesis]
    predictions: list[Prediction]
    settled: list[Finding]
    suspects: dict[str, float]
    test: NextTest | None


def reasoning(findings: Sequence[Finding], kind: str) -> Reasoning | None:
    """Return how the names of judged findings came about; None where nothing of the part was out of
    limits."""
    effects = table().get(kind, NOTHING_KNOWN)
    before = unsettled(findings)
    pointed = [each for each in before if failed(each) and each.fault and each.fault not in SUPPLY]
    if not pointed:
        return None
    hidden = without_consequences(before, effects)
    ranked = rank(hidden, effects, SUPPLY)
    settled = with_suspects(settle(hidden, ranked[0], effects), ranked) if ranked else hidden
    return Reasoning(
        pointed=pointed,
        declared=[each for each in hidden if FOLLOWS in each.evidence],
        left_out=left_out(hidden, effects) if ranked else [],
        ranked=ranked,
        predictions=predictions(hidden, ranked, effects) if ranked else [],
        settled=[each for each in settled if failed(each) or FOLLOWS in each.evidence],
        suspects=suspects(settled),
        test=next_test(ranked) if ranked else None,
    )


def left_out(findings: Sequence[Finding], effects: Effects) -> list[tuple[str, Finding]]:
    """Return the defects that failing findings point to and that cannot be there by themselves, with what
    speaks against it."""
    seen = Seen.of(findings, effects)
    against = [(name, contradiction((name,), seen)) for name in sorted(seen.pointed)]
    return [(name, finding) for name, finding in against if finding is not None]


def predictions(
    findings: Sequence[Finding], ranked: Sequence[Hypothesis], effects: Effects
) -> list[Prediction]:
    """Return the findings that speak for or against the leading hypothesis, the strongest first."""
    seen = Seen.of(findings, effects)
    none, first = _at(seen, Hypothesis((), 0.0)), _at(seen, ranked[0])
    second = _at(seen, ranked[1]) if len(ranked) > 1 else None
    found = []
    for place, finding in enumerate(seen.known):
        good = float(first[2][place] - none[2][place])
        other = 0.0 if second is None else float(first[2][place] - second[2][place])
        if failed(finding) or max(abs(good), abs(other)) >= math.log(SPEAKS):
            found.append(
                Prediction(
                    finding,
                    _in_unit(finding, none, place),
                    _in_unit(finding, first, place),
                    None if second is None else _in_unit(finding, second, place),
                    math.exp(good),
                    None if second is None else math.exp(other),
                    any(effects.together(*pair, finding.key) for pair in combinations(ranked[0].defects, 2)),
                )
            )
    return sorted(found, key=lambda each: -abs(math.log(each.against_good)))


Predicted = tuple[Floats, Floats, Floats]
"""Mean, standard deviation and logarithm of the density of each known finding."""


def _at(seen: Seen, hypothesis: Hypothesis) -> Predicted:
    """What a hypothesis predicts at its best sizes."""
    at = tuple(int(np.argmin(np.abs(SIZES - size))) for size in hypothesis.sizes)
    mean, variance = seen.predict(hypothesis.defects)
    return mean[at], np.sqrt(variance[at]), seen.each(hypothesis.defects)[at]


def _in_unit(finding: Finding, of: Predicted, place: int) -> tuple[float, float]:
    middle = out_of_tolerance(finding, float(of[0][place]))
    return middle, abs(out_of_tolerance(finding, float(of[0][place] + of[1][place])) - middle)


def size_word(size: float) -> str:
    """Return a size that fits best in words: sizes are those that were injected for the table."""
    words = {0.5: "slight", 1.0: "moderate", 1.5: "moderate to severe", 2.0: "severe"}
    return words.get(size, "very severe")

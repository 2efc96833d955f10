"""Which defects explain what failed: ranked hypotheses of one, two or three, with their probabilities.

Each defect that the table of effects knows for such a part is a candidate, and each name that a failing
finding points to. A hypothesis says that some of them are there, no others. It predicts every finding
(:mod:`strokebench.verdict.likelihood`). How well that fits, averaged over sizes, times a prior for each
defect, is its weight. The weights of all hypotheses add up to 1.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from strokebench.data.findings import Finding
from strokebench.verdict.effects import SIZES, Effects
from strokebench.verdict.likelihood import Seen, failed, mean_of, moved_by

HOLDS = ("blocked", "jammed", "stuck_shut", "stuck_open", "stuck_closed")
"""Defects behind which nothing moves."""
ELECTRICAL = (
    "lead_resistance", "shorted_turns", "leaky_freewheel", "supply_resistance", "ground_resistance",
    "chafed_ground", "bad_crimp",
)  # fmt: skip
"""Defects that are seen in a part that does not move, too."""
OPPOSITE = (
    {"sticky", "binding"}, {"dry", "clogged"}, {"dry", "worn"}, {"worn", "clogged"}, {"dry", "dragging"},
    {"ground_resistance", "chafed_ground"}, {"lead_resistance", "stuck_shut"},
    {"lead_resistance", "stuck_open"},
)  # fmt: skip
"""Pairs that nobody could tell from one of the two, or that undo each other in the same finding: a second
way to ground carries the current past a bad ground wire, and leads that let too little current through do not
show whether a valve sticks as well. A pump that runs dry loses the torque that a dragging bearing adds."""
LEVELS = ("track_dead", "track_shorted")
"""Defects that are read straight from a level: candidates only where a failing finding names them."""
MOST = 3
"""Defects in a hypothesis at most."""
EXTENDED = 6
"""Pairs, the best ones, to which a third defect is added."""
PRIOR = 0.15
"""Probability of each candidate before the findings are looked at. This and the three below are by
cross-validation over single defects and pairs, two singles to three pairs: a part that comes to the bench
with a failure has a second defect more often than a sound part has a first."""
BEHIND = 0.08
"""The same of a candidate to which no failing finding points: its own findings are not out."""
THIRD = -5.0
"""Logarithm of a further factor for three defects at once."""
SHARE = 0.9
"""Power that the likelihood is raised to: findings of one run share their errors, so that they say less
than as many independent ones (coarsened likelihood, Miller and Dunson, J. Am. Stat. Assoc. 114, 2019)."""
BY_ITSELF = 0.003
"""The probability of a name that is rather a symptom, such as "slow": no part has it for no reason
(judgement)."""


@dataclass(frozen=True)
class Hypothesis:
    """Defects that are there, no others; the probability among all that were tried; best size of each."""

    defects: tuple[str, ...]
    probability: float
    sizes: tuple[float, ...] = ()


def rank(findings: Sequence[Finding], effects: Effects, without: tuple[str, ...] = ()) -> list[Hypothesis]:
    """Return the hypotheses for findings of which some fail, most probable first; none when nothing fails.

    ``without``: names that are no candidates, such as those of the bench's supply.
    """
    pointed = [each.fault for each in findings if failed(each) and each.fault and each.fault not in without]
    if not pointed:
        return []
    visible = [
        name
        for name, moved in effects.defects.items()
        if moved and name not in without and (name not in LEVELS or name in pointed)
    ]
    names = list(dict.fromkeys([*visible, *pointed]))
    seen = Seen.of(findings, effects)
    tried = {
        some: weigh(some, seen)
        for count in (1, 2)
        for some in combinations(names, count)
        if can_be_told(some)
    }
    pairs = sorted((pair for pair in tried if len(pair) == 2), key=lambda pair: -tried[pair][0])
    for pair in pairs[:EXTENDED] if MOST > 2 else ():
        for name in names:
            triple = tuple(each for each in names if each in pair or each == name)
            if len(triple) == 3 and triple not in tried and can_be_told(triple):
                tried[triple] = weigh(triple, seen)
    tried = {each: found for each, found in tried.items() if contradiction(each, seen) is None} or tried
    most = max(weight for weight, _ in tried.values())
    shares = {each: math.exp(weight - most) for each, (weight, _) in tried.items()}
    whole = sum(shares.values())
    ranked = [Hypothesis(each, share / whole, tried[each][1]) for each, share in shares.items()]
    return sorted(ranked, key=lambda hypothesis: -hypothesis.probability)


def can_be_told(names: tuple[str, ...]) -> bool:
    """Return whether a run could show all these defects side by side: see :data:`HOLDS`, :data:`OPPOSITE`."""
    others = [name for name in names if name not in HOLDS]
    if len(names) - len(others) > 1 or (len(others) < len(names) and not set(others) <= set(ELECTRICAL)):
        return False
    return not any(pair <= set(names) for pair in OPPOSITE)


def contradiction(names: tuple[str, ...], seen: Seen) -> Finding | None:
    """Return what fails that none of these defects moves, and whose own defect could not be told beside them:
    it can neither follow from them nor show one more. None where nothing speaks against them so."""
    for finding in seen.known:
        fault = finding.fault
        if (
            failed(finding)
            and fault in seen.effects.defects
            and fault not in (*names, *HOLDS)
            and not moved_by(finding, names, seen.effects)[0]
            and not can_be_told((*names, fault))
        ):
            return finding
    return None


def weigh(names: tuple[str, ...], seen: Seen) -> tuple[float, tuple[float, ...]]:
    """Return the logarithm of a hypothesis's weight, and the sizes that fit best."""
    total = seen.logarithm(names)
    best = np.unravel_index(int(np.argmax(total)), total.shape)
    prior = sum(_odds(_prior(name, seen)) for name in names) + (THIRD if len(names) > 2 else 0.0)
    return mean_of(SHARE * total) + prior, tuple(float(SIZES[place]) for place in best)


def _prior(name: str, seen: Seen) -> float:
    if name not in seen.effects.defects:
        return BY_ITSELF
    return PRIOR if name in seen.pointed else BEHIND


def _odds(probability: float) -> float:
    """Logarithm of the odds."""
    return math.log(probability / (1 - probability))

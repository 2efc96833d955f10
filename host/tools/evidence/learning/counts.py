"""How often learnt limits fail good parts and find defects, counted over draws of the parts that are learnt
from."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from strokebench.data.findings import Verdict
from strokebench.parts import load_part
from strokebench.parts.profile import Profile
from strokebench.verdict.learning.readings import learnable
from strokebench.verdict.learning.scale import Scale

from tools.evidence.learning.draw import Stroked, changed, profile_from, verdict_by

PARTS = (3, 5, 10, 20)
"""Good parts that are learnt from."""
OF_BENCH = ("weak_battery", "charger_ripple")
"""Defects that are the supply's: no limit of the part is to find them."""
FEWEST_LEFT = 4
"""Good parts that must be left to judge."""
BOOTSTRAP = 2000


@dataclass
class Count:
    """Of each specimen, by its number in the cell: how often it was judged, failed and passed."""

    judged: dict[str, int] = field(default_factory=lambda: defaultdict(int))
    failed: dict[str, int] = field(default_factory=lambda: defaultdict(int))
    passed: dict[str, int] = field(default_factory=lambda: defaultdict(int))

    def add(self, name: str, verdict: Verdict) -> None:
        """Count one verdict of a specimen."""
        self.judged[name] += 1
        self.failed[name] += verdict is Verdict.FAIL
        self.passed[name] += verdict is Verdict.PASS

    @property
    def rates(self) -> np.ndarray:
        """Share of draws in which each specimen fails."""
        return np.array([self.failed[name] / count for name, count in self.judged.items()])

    @property
    def passes(self) -> float:
        """Share of good parts that pass."""
        total = sum(self.judged.values())
        return sum(self.passed.values()) / total if total else float("nan")


Counts = dict[int, tuple[Count, Count]]
"""Number of good parts -> count of other good parts, and of parts with a moderate defect."""


def count_cell(
    parts: Sequence[Stroked], part: str, draws: int, seed: int, *, spread: float = 1.0,
    learn_at: Callable[[Stroked], bool] = lambda _: True, name: str = "",
    learn_only: Sequence[Stroked] = (),
) -> Counts:  # fmt: skip
    """Return the counts of one part and family.

    ``learn_only``: further good parts that may be learned from, and are never judged.
    ``spread``: how wide the parts spread, over what they do. ``learn_at``: which good parts may be learnt
    from.
    """
    base = load_part(part)
    scales = learnable(base)
    every = [*parts, *learn_only]
    every = changed(every, spread, scales) if spread != 1 else every
    parts, others = every[: len(parts)], every[len(parts) :]
    good = [each for each in parts if each.name == "good" and not each.refused]
    pool = [*good, *others]
    bad = [each for each in parts if each.name not in ("good", *OF_BENCH)]
    may = [at for at, each in enumerate(pool) if learn_at(each)]
    found: Counts = {}
    for count in PARTS:
        if len(may) < count or min(len(good), len(pool) - count) < FEWEST_LEFT:
            continue
        rng = np.random.default_rng((seed, count))
        found[count] = Count(), Count()
        for _ in range(draws):
            taken = set(rng.permutation(may)[:count].tolist())
            _judge(found[count], pool, len(good), bad, taken, (base, scales), name)
    return found


def _judge(
    counts: tuple[Count, Count], pool: Sequence[Stroked], judged: int, bad: Sequence[Stroked],
    taken: set[int], of: tuple[Profile, Mapping[str, Scale]], name: str,
) -> None:  # fmt: skip
    """Learn from those of the ``pool`` that are ``taken``, and judge the first ``judged`` of the others."""
    profile = profile_from([pool[at] for at in sorted(taken)], *of)
    for at, each in enumerate(pool[:judged]):
        if at not in taken:
            counts[0].add(f"{name} good {at}", verdict_by(each, profile)[0])
    for at, each in enumerate(bad):
        verdict = Verdict.FAIL if each.refused else verdict_by(each, profile)[0]
        counts[1].add(f"{name} {each.name} {at}", verdict)


def together(cells: Sequence[Counts]) -> Counts:
    """Return the counts of several cells as one."""
    whole: Counts = {}
    for cell in cells:
        for count, pair in cell.items():
            into = whole.setdefault(count, (Count(), Count()))
            for mine, other in zip(into, pair, strict=True):
                mine.judged.update(other.judged)
                mine.failed.update(other.failed)
                mine.passed.update(other.passed)
    return whole


def highest(rates: np.ndarray) -> float:
    """Return the upper end of a one-sided 95 % interval of a mean rate, specimens drawn anew (bootstrap).

    Where no specimen ever fails: the share at which that would happen in 5 of 100 such counts. With failures
    it is never less than that: a bootstrap of one failure or two says too little about what was not drawn.
    """
    if not len(rates):
        return float("nan")
    none_fails = float(1 - 0.05 ** (1 / len(rates)))
    drawn = np.random.default_rng(1).integers(0, len(rates), (BOOTSTRAP, len(rates)))
    return max(none_fails, float(np.quantile(rates[drawn].mean(axis=1), 0.95)))

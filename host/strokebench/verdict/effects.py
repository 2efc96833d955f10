"""What each defect does to a part's findings: the table that the command tools.evidence.effects makes.

A finding is counted in its own tolerance, so that the table serves parts of another size: with two limits its
distance from their middle over half their distance, with a single limit its share of it.
"""

from __future__ import annotations

import json
import math
from dataclasses import dataclass, field
from functools import lru_cache
from importlib import resources
from typing import Any

import numpy as np

from strokebench.data.findings import Finding
from strokebench.diagnose.stats import Floats

FILE = "effects.json"
SIZES = np.array([0.5, 1.0, 1.5, 2.0, 2.5, 3.0])
"""Sizes that a hypothesis tries: 1 moderate, 2 severe, straight in between and beyond."""
LEAST_SPREAD, LEAST_SHARE = 0.05, 0.2
"""Smallest spread of a good part's finding and of an effect, the second as a share of it (judgement: few
specimens stand behind each number)."""


@dataclass(frozen=True)
class Effect:
    """Shift of a finding, in its tolerance, by a moderate and by a severe defect, each with its spread.

    ``lost``: share of the trials in which the defect kept the finding from having a value.
    """

    moderate: float
    spread_moderate: float
    severe: float
    spread_severe: float
    lost: float = 0.0

    def at(self, size: Floats) -> tuple[Floats, Floats]:
        """Return shift and standard deviation at each size."""
        shift = np.interp(size, [0, 1, 2], [0, self.moderate, self.severe])
        more = np.maximum(size - 2, 0) * (self.severe - self.moderate)
        spread = np.interp(size, [0, 1, 2], [0, self.spread_moderate, self.spread_severe])
        return shift + more, np.maximum(spread, LEAST_SHARE * np.abs(shift + more))


@dataclass(frozen=True)
class Effects:
    """Of one kind of part: where good parts lie (mean, spread), and what each defect shifts; the rest stays.

    ``lost``: share of the good parts in which a finding has no value, where it is not nought. ``pairs``: what
    two defects together shift beyond what each shifts by itself, by their names in alphabetical order.
    """

    good: dict[str, tuple[float, float]]
    defects: dict[str, dict[str, Effect]]
    lost: dict[str, float]
    pairs: dict[tuple[str, str], dict[str, Effect]] = field(default_factory=dict)

    def effect(self, name: str, key: str) -> Effect | None:
        """Return what the defect ``name`` does to the finding ``key``, None for nothing."""
        return self.defects.get(name, {}).get(key)

    def together(self, first: str, second: str, key: str) -> Effect | None:
        """Return what two defects do to the finding ``key`` beyond their sum, None for nothing."""
        return self.pairs.get((min(first, second), max(first, second)), {}).get(key)


NOTHING_KNOWN = Effects({}, {}, {})


def tolerance(finding: Finding) -> tuple[float, float]:
    """Return zero and unit in which a finding with limits is counted: see this module."""
    low, high = finding.lower, finding.upper
    if low is not None and high is not None:
        return (low + high) / 2, (high - low) / 2
    limit = low if low is not None else high
    return 0.0, abs(limit) if limit else 1.0


def in_tolerance(finding: Finding) -> tuple[float, float]:
    """Return value and standard uncertainty of a finding in its tolerance; NaN for an unknown one."""
    zero, unit = tolerance(finding)
    return (finding.value - zero) / unit, (finding.u / unit if math.isfinite(finding.u) else 0.0)


def out_of_tolerance(finding: Finding, count: float) -> float:
    """Return the value, in the finding's unit, that is ``count`` in its tolerance."""
    zero, unit = tolerance(finding)
    return zero + count * unit


@lru_cache(maxsize=1)
def table() -> dict[str, Effects]:
    """Return the effects by kind of part, both families of parts together."""
    file = resources.files("strokebench.verdict") / FILE
    raw = json.loads(file.read_text(encoding="utf-8"))
    return {kind: effects_from(of) for kind, of in raw.items()}


def effects_from(of: dict[str, Any]) -> Effects:
    """Return the effects of one kind as the file holds them."""
    return Effects(
        {key: (float(mean), float(spread)) for key, (mean, spread) in of["good"].items()},
        {name: {key: Effect(*row) for key, row in rows.items()} for name, rows in of["defects"].items()},
        {key: float(share) for key, share in of["lost"].items()},
        {
            (first, second): {key: Effect(*row) for key, row in rows.items()}
            for pair, rows in of.get("pairs", {}).items()
            for first, second in [pair.split("+")]
        },
    )

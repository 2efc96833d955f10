"""What a diagnosis hands over: a quantity with its uncertainty, its limits, its verdict and its evidence."""

from __future__ import annotations

import enum
import math
from dataclasses import dataclass, field, replace
from typing import Any

YES_NO = "yes/no"
"""Unit of a finding that is so (1) or not (0)."""


class Verdict(enum.Enum):
    """Outcome of one finding or of a whole run."""

    PASS = "pass"
    FAIL = "fail"
    INCONCLUSIVE = "inconclusive"


@dataclass(frozen=True)
class Finding:
    """One diagnosed quantity.

    ``value`` and ``u`` (standard uncertainty, k = 1) are in ``unit``; a NaN value could not be found, and
    ``reason`` says why.  ``lower``/``upper`` are the limits in the same unit, None where there is none.
    ``span_s`` is the stretch of the recording it was read from; ``place`` a position in % of travel, where
    it has one.  ``fault`` names the kind of defect a failing value means (``binding``, ``weak_spring`` ...).
    """

    key: str
    title: str
    value: float
    u: float
    unit: str
    lower: float | None = None
    upper: float | None = None
    verdict: Verdict = Verdict.INCONCLUSIVE
    reason: str = ""
    span_s: tuple[float, float] | None = None
    place: float | None = None
    fault: str = ""
    evidence: dict[str, Any] = field(default_factory=dict)

    def with_(self, **changes: Any) -> Finding:
        """Return a copy with ``changes``."""
        return replace(self, **changes)

    @property
    def known(self) -> bool:
        """True when a value was found."""
        return math.isfinite(self.value)


def yes_or_no(finding: Finding) -> str:
    """Return "yes" or "no" for a known finding of that kind, else nothing."""
    if finding.unit != YES_NO or not finding.known:
        return ""
    return "yes" if finding.value >= 0.5 else "no"


def unknown(key: str, title: str, unit: str, reason: str, **more: Any) -> Finding:
    """Return an inconclusive finding that says in one sentence why the quantity could not be found."""
    return Finding(key, title, math.nan, math.nan, unit, reason=reason, **more)

"""What a diagnosis hands over: a quantity with its uncertainty, its limits, its verdict and its evidence."""

from __future__ import annotations

import enum
import math
from dataclasses import dataclass, field, replace
from typing import Any

COVERAGE = 2.0
"""k of U = k u: about 95 % if normal, false acceptance at one limit about 2.5 % (ILAC-G8:2019)."""

YES_NO = "yes/no"
"""Unit of a finding that is so (1) or not (0)."""


class Verdict(enum.Enum):
    """Outcome of one finding or of a whole run; the values are the words in which it is told everywhere.

    ``INFO`` is that of findings alone: nothing is judged by them.
    """

    PASS = "pass"
    FAIL = "fail"
    INCONCLUSIVE = "inconclusive"
    INFO = "info"


@dataclass(frozen=True)
class Finding:
    """One diagnosed quantity.

    ``value`` and ``u`` (standard uncertainty, k = 1) are in ``unit``; a NaN value could not be found, and
    ``reason`` says why.  ``lower``/``upper`` are the limits in the same unit, None where there is none.
    ``span_s`` is the stretch of the recording it was read from; ``place`` a position in % of travel, where
    it has one.  ``fault`` names the kind of defect a failing value means (``binding``, ``weak_spring`` ...).
    ``evidence["gate"]``: while this finding stands, no run may pass.  ``verdict`` is INFO where there is
    neither limit nor gate, whatever is given, and nowhere else.
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

    def __post_init__(self) -> None:
        if self.for_information:
            object.__setattr__(self, "verdict", Verdict.INFO)
        elif self.verdict is Verdict.INFO:
            object.__setattr__(self, "verdict", Verdict.INCONCLUSIVE)

    def with_(self, **changes: Any) -> Finding:
        """Return a copy with ``changes``."""
        return replace(self, **changes)

    def without_value(self, reason: str) -> Finding:
        """Return a copy whose quantity could not be found, for ``reason``."""
        return replace(self, value=math.nan, u=math.nan, reason=reason)

    @property
    def for_information(self) -> bool:
        """True when nothing is judged by it: it has no limits, and does not stand against a pass."""
        return self.lower is None and self.upper is None and not self.evidence.get("gate")

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
    """Return a finding without a value that says in one sentence why the quantity could not be found."""
    return Finding(key, title, math.nan, math.nan, unit, reason=reason, **more)

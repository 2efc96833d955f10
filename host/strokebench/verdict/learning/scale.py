"""On which scale the values of good parts are normal, and how much they spread there before any was measured.

``spreads.json`` comes from simulated good parts of both families on seeds for tuning, made by
``python -m tools.evidence.learning --tune``. It is a prior: after some parts the parts' own spread counts.
"""

from __future__ import annotations

import json
import math
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources

FILE = "spreads.json"
UNKNOWN_SPREAD = 0.08
"""Relative, of a finding that the table does not know (judgement: an ordinary tolerance of 20 %)."""


@dataclass(frozen=True)
class Scale:
    """``kind``: "log" of what is always positive, "plain" of places, "zero" of what ends at zero.

    "log": ln x. "zero": ln(1 + x / ``unit``), what is below zero counts as zero; one-sided. ``spread`` and
    ``freedom``: prior standard deviation on that scale, and how many degrees of freedom it is worth.
    """

    kind: str
    spread: float
    freedom: float
    unit: float = 1.0
    floor: float = 0.0
    """No limit of a finding that ends at zero is closer, in its unit: where nearly all good parts read
    zero, a few of them do not show how far the others may be from it."""

    def to(self, value: float, u: float = 0.0) -> tuple[float, float]:
        """Return value and standard uncertainty on the scale; NaN of what cannot be on it."""
        if self.kind == "plain":
            return value, u
        if self.kind == "zero":
            above = max(value, 0.0) + self.unit
            return math.log(above / self.unit), u / above
        return (math.log(value), u / value) if value > 0 else (math.nan, math.nan)

    def back(self, value: float) -> float:
        """Return the reading that is ``value`` on the scale."""
        if self.kind == "plain":
            return value
        return math.exp(value) if self.kind == "log" else self.unit * math.expm1(value)


@lru_cache(maxsize=1)
def _table() -> dict[str, dict[str, list[object]]]:
    file = resources.files("strokebench.verdict.learning") / FILE
    table: dict[str, dict[str, list[object]]] = json.loads(file.read_text(encoding="utf-8"))
    return table


def scale_of(kind: str, key: str, upper_only: bool, typical: float) -> Scale:
    """Return the scale of finding ``key`` in a part of ``kind``.

    ``upper_only`` and a ``typical`` value, the built-in limit, choose for a finding that the table does not
    know.
    """
    row = _table().get(kind, {}).get(key)
    if row is not None:
        name, *numbers = row
        return Scale(str(name), *(float(str(number)) for number in numbers))
    size = abs(typical) or 1.0
    if upper_only:
        return Scale("zero", 3 * UNKNOWN_SPREAD, FREEDOM, size / 4, size / 4)
    return Scale("plain", UNKNOWN_SPREAD * size, FREEDOM)


FREEDOM = 8.0
"""Degrees of freedom that a prior spread is worth (judgement). Between simulated families it holds better,
as if it were worth 30; real parts may differ more from it: with 8, a type's spread is thought to be within
0.7 to 1.5 times the prior's in two thirds of the types."""

"""What each finding means and how it is measured, for people: the words of ``findings.toml``."""

from __future__ import annotations

import sys
from dataclasses import dataclass, field
from functools import lru_cache
from importlib import resources

if sys.version_info >= (3, 11):
    import tomllib
else:  # pragma: no cover - exercised by the Python 3.10 job only
    import tomli as tomllib

FILE = "findings.toml"
LOW, HIGH, EITHER = SIDES = ("low", "high", "either")
"""Below its limits, above them, on either side."""


@dataclass(frozen=True)
class Explanation:
    """``title`` of the finding, its unit, what it means, how it is measured.

    ``keys``: all findings that it is about. ``also_title``: that of the second of a pair. ``unit_of``: kind
    of part -> unit, where it is another one. ``low``, ``high``, ``either``: the defects that a value below,
    above, or on either side of its limits is taken for. ``judged``: how it counts without a profile's limits.
    """

    keys: tuple[str, ...]
    title: str
    unit: str
    means: str
    measured: str
    unit_of: dict[str, str] = field(default_factory=dict)
    low: tuple[str, ...] = ()
    high: tuple[str, ...] = ()
    either: tuple[str, ...] = ()
    also_title: str = ""
    judged: str = ""

    @property
    def points_to(self) -> dict[str, str]:
        """Defect -> the side of the limits on which a value is taken for it."""
        return {name: side for side in SIDES for name in getattr(self, side)}

    def title_of(self, key: str) -> str:
        """Return the title of one of its findings."""
        return self.also_title if key in self.keys[1:] else self.title


@lru_cache(maxsize=1)
def explanations() -> tuple[Explanation, ...]:
    """Return all explanations in the order of the file."""
    raw = tomllib.loads((resources.files("strokebench.diagnose") / FILE).read_text(encoding="utf-8"))
    return tuple(Explanation((key, *of.pop("also", ())), **of) for key, of in raw.items())


def explained(key: str) -> Explanation | None:
    """Return the explanation of a finding, None for one that is not explained (a guided test's own)."""
    return next((about for about in explanations() if key in about.keys), None)

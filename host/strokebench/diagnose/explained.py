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


@dataclass(frozen=True)
class Explanation:
    """``title`` of the finding or of its pair, its unit, what it means, how it is measured.

    ``keys``: all findings that it is about. ``unit_of``: kind of part -> unit, where it is another one.
    ``points_to``: the defects that a value out of its limits is taken for.
    """

    keys: tuple[str, ...]
    title: str
    unit: str
    means: str
    measured: str
    unit_of: dict[str, str] = field(default_factory=dict)
    points_to: tuple[str, ...] = ()


@lru_cache(maxsize=1)
def explanations() -> tuple[Explanation, ...]:
    """Return all explanations in the order of the file."""
    raw = tomllib.loads((resources.files("strokebench.diagnose") / FILE).read_text(encoding="utf-8"))
    return tuple(Explanation((key, *of.pop("also", ())), **of) for key, of in raw.items())


def explained(key: str) -> Explanation | None:
    """Return the explanation of a finding, None for one that is not explained (a guided test's own)."""
    return next((about for about in explanations() if key in about.keys), None)

"""A question of the diagnosis, declared beside its ``find``: what it needs, where it stands in a report, and
which findings answer it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Protocol

from strokebench.data.findings import Finding

CHANNELS = {
    "current": "current", "drive": "drive", "volts": "output volts", "supply": "supply voltage",
    "sensor": "position sensor", "far": "voltage at the far ends",
}  # fmt: skip
"""Channel -> its name in a sentence."""

DERIVED = ("sweeps",)
"""What a case works out from channels, each in its own way (``Case.derived``): its slow sweeps."""

GROUPS = (
    "Supply and winding", "Turning", "Load", "Commutator and turn", "Wiring", "Position sensor",
    "Travel and rest", "Friction and spring", "Times", "What the engine did", "Recording",
)  # fmt: skip
"""Groups of a report's findings, in its order."""


@dataclass(frozen=True, kw_only=True)
class Question:
    """What one finder module asks.

    ``needs``: channels (or derived quantities) without which it can tell nothing, parted by blanks; empty:
    none. ``group``: of its findings in a report. ``keys``: of all findings that it may return.
    ``needs_by_key`` and ``group_by_key``: where one of its findings needs something else, or stands in
    another group. ``not_of_part``: keys that are about bench, supply and recording instead; these keep their
    value in a recording that is unfit as a whole, and are never learnt from good parts. ``anyhow``: keys
    whose limits hold however the part was driven, because their value is only given where the recording
    shows it. ``of_guide``: further
    keys are those of the part's guided procedure, in the same group.

    ValueError for a channel, a group or a key that does not exist.
    """

    needs: str
    group: str
    keys: tuple[str, ...]
    needs_by_key: Mapping[str, str] = field(default_factory=dict)
    group_by_key: Mapping[str, str] = field(default_factory=dict)
    not_of_part: tuple[str, ...] = ()
    anyhow: tuple[str, ...] = ()
    of_guide: bool = False

    def __post_init__(self) -> None:
        needed = {need for needs in (self.needs, *self.needs_by_key.values()) for need in needs.split()}
        checks = (
            ("channels", needed, {*CHANNELS, *DERIVED}),
            ("groups", {self.group, *self.group_by_key.values()}, set(GROUPS)),
            (
                "keys",
                {*self.needs_by_key, *self.group_by_key, *self.not_of_part, *self.anyhow},
                set(self.keys),
            ),
        )
        for what, named, known in checks:
            if named - known:
                raise ValueError(f"unknown {what} in a question: {', '.join(sorted(named - known))}")

    def needs_of(self, key: str) -> str:
        """Return what the finding ``key`` needs."""
        return self.needs_by_key.get(key, self.needs)

    def group_of(self, key: str) -> str:
        """Return the report's group in which the finding ``key`` stands."""
        return self.group_by_key.get(key, self.group)


class Finder(Protocol):
    """A module that asks one question."""

    QUESTION: Question

    def find(self, case: Any, /) -> list[Finding]:
        """Return the findings that answer the question, in a fixed order."""

"""What a diagnosis needs to know about a part: the slice of a part profile that it reads.

The profile's own model (pydantic, read from TOML) satisfies these protocols; tests use plain dataclasses.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Protocol


class FindingLimit(Protocol):
    """Limits of one finding in the finding's unit; None = no limit on that side."""

    @property
    def lower(self) -> float | None: ...
    @property
    def upper(self) -> float | None: ...


class TrackLayout(Protocol):
    """Nominal ratiometric output of one sensor track, volts at a 5 V feed, at the closed and the open
    stop."""

    @property
    def closed_v(self) -> float: ...
    @property
    def open_v(self) -> float: ...


def nominal_percent(track: TrackLayout, volts: Any) -> Any:
    """Return where a track stands at ``volts`` (a number or an array), % of its nominal travel."""
    return 100 * (volts - track.closed_v) / (track.open_v - track.closed_v)


class PartProfile(Protocol):
    """``kind`` picks the registry ("throttle"); ``findings`` maps finding keys to limits; ``required`` says
    whose lack makes a run inconclusive (empty: every finding that has a limit); ``nominal`` holds numbers
    such as ``lead_ohm``, the resistance of the bench's own leads to the part."""

    @property
    def name(self) -> str: ...
    @property
    def kind(self) -> str: ...
    @property
    def tracks(self) -> Mapping[Any, TrackLayout]: ...
    @property
    def nominal(self) -> Mapping[str, float]: ...
    @property
    def findings(self) -> Mapping[str, FindingLimit]: ...
    @property
    def required(self) -> frozenset[str]: ...

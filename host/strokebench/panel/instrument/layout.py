"""What an instrument view shows: strips above each other, their lines, limits, and the segments."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from strokebench.panel.strip import CHANNELS

if TYPE_CHECKING:
    from strokebench.data.findings import Finding
    from strokebench.panel.instrument.pyramid import Array
    from strokebench.parts.profile import Profile

POSITION = "position"
MEASURED = (*CHANNELS, POSITION)
"""Channels of a run in the order of their numbers; drive and position in percent."""
LEVELS = {
    "supply_lowest": "supply, V",
    "rest_position": "position, %",
    "breakaway_open": "current, A",
    "stall_current": "current, A",
}
"""Findings whose limits are values of a strip's own axis, and that strip."""


@dataclass(frozen=True)
class Line:
    """A curve: its channel's number, ``ink`` the number of a colour, ``dashes`` as ECharts says."""

    name: str
    channel: int
    ink: int = 0
    dashes: str = "solid"


@dataclass(frozen=True)
class Strip:
    """One strip. ``low``, ``high``, ``step``: the axis is never narrower, and ends in whole steps."""

    title: str
    lines: tuple[Line, ...]
    low: float
    high: float
    step: float


@dataclass(frozen=True)
class Plane:
    """One channel over another: ``across`` and ``up`` are the words of the axes, lines are (x, line of y)."""

    title: str
    across: str
    up: str
    lines: tuple[tuple[int, Line], ...]


@dataclass(frozen=True)
class Segment:
    """A piece of the procedure; ``end_s`` None while it runs."""

    label: str
    start_s: float
    end_s: float | None


def spaced(label: str) -> str:
    """Return a segment's label as a person writes it."""
    return label.replace("_", " ")


@dataclass(frozen=True)
class Band:
    """Limits on a strip, either side may be open; over ``start_s`` to ``end_s`` where it holds only there."""

    strip: str
    name: str
    low: float | None
    high: float | None
    start_s: float | None = None
    end_s: float | None = None
    finding: str = ""


def measured_strips(*, sensor: bool) -> tuple[Strip, ...]:
    """Return the strips of a run; ``sensor``: the part has a position sensor."""
    strips = (
        Strip("drive, %", (Line("drive", 0),), -100, 100, 50),
        Strip("current, A", (Line("current", 1, 1),), -0.5, 1, 1),
        Strip("supply, V", (
            Line("supply", 2, 2), Line("output A", 3, 3, "dashed"), Line("output B", 4, 4, "dotted"),
        ), 0, 15, 5),
        Strip("sensors, V", (Line("sensor A", 5, 3), Line("sensor B", 6, 4, "dashed")), 0, 5, 2.5),
        Strip("position, %", (Line("position", 8, 3),), 0, 100, 50),
        Strip("heatsink, \u00b0C", (Line("heatsink", 7, 1),), 20, 40, 10),
    )  # fmt: skip
    return strips if sensor else tuple(strip for strip in strips if strip.title != "position, %")


def planes(lines: Sequence[tuple[str, int, int, int, int, str]]) -> tuple[Plane, ...]:
    """Return position over drive and current over position.

    ``lines``: name, numbers of drive, position and current, ink and dashes of each run.
    """
    return (
        Plane("Position over drive", "drive, %", "position, %", tuple(
            (drive, Line(name, position, ink, dashes)) for name, drive, position, _, ink, dashes in lines
        )),
        Plane("Current over position", "position, %", "current, A", tuple(
            (position, Line(name, current, ink, dashes)) for name, _, position, current, ink, dashes in lines
        )),
    )  # fmt: skip


MEASURED_PLANES = planes([("mean of each stretch", 0, 8, 1, 3, "solid")])


def bands_of(profile: Profile | None, findings: Iterable[Finding] = ()) -> list[Band]:
    """Return the limits in force while a part is driven, and of the findings those that an axis can show."""
    if profile is None:
        return []
    limits = profile.limits
    bands = [
        Band("current, A", "current limit", -limits.current_max_a, limits.current_max_a),
        Band("supply, V", "supply window", limits.supply_min_v, limits.supply_max_v),
        Band("drive, %", "drive allowed", 100 * limits.drive_min, 100 * limits.drive_max),
    ]
    track = profile.tracks.get("a")
    if track is not None:
        bands.append(Band("sensors, V", "sensor A's range", track.lowest_v, track.highest_v))
    for finding in findings:
        strip = LEVELS.get(finding.key)
        if strip is None or finding.span_s is None or (finding.lower is None and finding.upper is None):
            continue
        start_s, end_s = finding.span_s
        bands.append(Band(strip, finding.title, finding.lower, finding.upper, start_s, end_s, finding.key))
    return bands


def position_line(profile: Profile | None) -> tuple[float, float]:
    """Return offset (%) and slope (%/V) from sensor A's volts to the position; NaN without a sensor."""
    track = profile.tracks.get("a") if profile is not None else None
    if track is None:
        return math.nan, math.nan
    slope = 100 / (track.open_v - track.closed_v)
    return -track.closed_v * slope, slope


def with_position(values: Array, profile: Profile | None) -> Array:
    """Return channels (8, n) in the units of :data:`MEASURED`, position added: (9, n)."""
    offset, slope = position_line(profile)
    position = offset + slope * values[CHANNELS.index("sensor_a_v")]
    return np.vstack([100 * values[:1], values[1:], position[None, :]])


def plain(items: Iterable[Any]) -> list[dict[str, Any]]:
    """Return dataclasses as the page's script reads them."""
    return [asdict(item) for item in items]

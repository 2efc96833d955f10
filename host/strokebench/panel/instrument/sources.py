"""Where an instrument view gets its history from: the live bench, a run of the book, or two runs."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from strokebench.panel.instrument.align import pairs, partners
from strokebench.panel.instrument.layout import (
    MEASURED,
    MEASURED_PLANES,
    Band,
    Line,
    Plane,
    Segment,
    Strip,
    bands_of,
    measured_strips,
    plain,
    planes,
    position_line,
    spaced,
    with_position,
)
from strokebench.panel.instrument.pyramid import Array, Pyramid, Stretch, of_rows
from strokebench.panel.strip import CHANNELS

if TYPE_CHECKING:
    from strokebench.data.findings import Finding
    from strokebench.data.run import RunData
    from strokebench.panel.driver import Driver
    from strokebench.parts.profile import Profile

POINTS_MAX = 4000
PAIRED = ("drive", "current_a", "position", "supply_v")
DIFFERENT = ("current_a", "position")
Plain = Callable[[Stretch], Stretch]


@dataclass(frozen=True)
class Source:
    """A history: ``converted`` turns what the pyramid keeps into the channels of the layout.

    ``names``: the channels, in the words of the table of numbers.
    """

    pyramid: Pyramid
    names: tuple[str, ...]
    strips: tuple[Strip, ...]
    planes: tuple[Plane, ...]
    bands: list[Band] = field(default_factory=list)
    segments: list[Segment] = field(default_factory=list)
    converted: Plain = lambda part: part

    def layout(self) -> dict[str, Any]:
        """Return what the page's script must know before the first curve."""
        return {
            "strips": plain(self.strips),
            "planes": plain(self.planes),
            "bands": plain(self.bands),
            "names": self.names,
            "extent": self.pyramid.extent,
        }

    def stretch(self, start_s: float, end_s: float, points: int) -> dict[str, Any]:
        """Return the curves between two times: ``time`` (n,), ``low``, ``high``, ``mean`` by channel."""
        part = self.converted(self.pyramid.stretch(start_s, end_s, min(max(points, 8), POINTS_MAX)))
        return {
            "extent": self.pyramid.extent,
            "time": _rounded(part.time_s, 4),
            "low": [_rounded(row) for row in part.low],
            "high": [_rounded(row) for row in part.high],
            "mean": [_rounded(row) for row in part.mean],
            "segments": plain(self.segments),
        }

    def numbers(self, start_s: float, end_s: float) -> dict[str, Any]:
        """Return by channel the value at both ends, the difference, and lowest, highest and mean between."""
        part = self.converted(self.pyramid.base(start_s, end_s))
        rows = []
        for name, low, high, mean in zip(self.names, part.low, part.high, part.mean, strict=True):
            known = np.isfinite(mean)
            if not known.any():
                continue
            ends = mean[[0, -1]]
            values = (*ends, ends[1] - ends[0], low[known].min(), high[known].max(), mean[known].mean())
            rows.append([name, *_rounded(np.array(values))])
        return {"start": start_s, "end": end_s, "buckets": len(part), "rows": rows}


def live_source(driver: Driver) -> Source:
    """Return the last hour of the bench, with the segments of the runs in it."""
    profile, strip = driver.profile, driver.strip

    def converted(part: Stretch) -> Stretch:
        low, high, mean = (with_position(values, profile) for values in (part.low, part.high, part.mean))
        if position_line(profile)[1] < 0:
            low[-1], high[-1] = high[-1].copy(), low[-1].copy()
        return Stretch(part.time_s, low, high, mean)

    sensor = profile is None or bool(profile.tracks)
    segments = [Segment(spaced(label), start_s, end_s) for label, start_s, end_s in strip.segments()]
    return Source(
        strip.history, MEASURED_WORDS, measured_strips(sensor=sensor), MEASURED_PLANES if sensor else (),
        bands_of(profile), segments, converted,
    )  # fmt: skip


def run_source(data: RunData, findings: list[Finding], profile: Profile) -> Source:
    """Return a recorded run, every row of it."""
    segments = [Segment(spaced(mark.label), mark.start_s, mark.end_s) for mark in data.marks]
    sensor = bool(profile.tracks)
    pyramid = of_rows(data.samples["time_s"], _values(data, profile))
    drawn = measured_strips(sensor=sensor), MEASURED_PLANES if sensor else ()
    return Source(pyramid, MEASURED_WORDS, *drawn, bands_of(profile, findings), segments)


def pair_source(first: tuple[RunData, Profile], second: tuple[RunData, Profile]) -> Source:
    """Return two runs on the time axis of the first, aligned by segment, and their difference B - A."""
    data, other = first[0], second[0]
    matched = pairs(data.marks, other.marks)
    where = partners(data.samples["time_s"], other.samples["time_s"], matched)
    mine, theirs = (_values(*side) for side in (first, second))
    theirs = np.where(where >= 0, theirs[:, where], np.nan) if theirs.size else np.full_like(mine, np.nan)
    chosen = [MEASURED.index(name) for name in PAIRED]
    apart = [MEASURED.index(name) for name in DIFFERENT]
    values = np.vstack([mine[chosen], theirs[chosen], theirs[apart] - mine[apart]])
    segments = [Segment(spaced(mark.label), mark.start_s, mark.end_s) for mark, _ in matched]
    sensor = bool(first[1].tracks and second[1].tracks)
    return Source(
        of_rows(data.samples["time_s"], values),
        PAIR_WORDS,
        _pair_strips(sensor=sensor),
        planes([("A", 0, 2, 1, 3, "solid"), ("B", 4, 6, 5, 1, "dashed")]) if sensor else (),
        bands_of(first[1]),
        segments,
    )


MEASURED_WORDS = (
    "Drive, %", "Current, A", "Supply, V", "Output A, V", "Output B, V", "Sensor A, V", "Sensor B, V",
    "Heatsink, \u00b0C", "Position, %",
)  # fmt: skip
_PAIRED_WORDS = ("Drive, %", "Current, A", "Position, %", "Supply, V")
PAIR_WORDS = (
    *(f"A: {word}" for word in _PAIRED_WORDS),
    *(f"B: {word}" for word in _PAIRED_WORDS),
    "B \u2212 A: Current, A", "B \u2212 A: Position, %",
)  # fmt: skip


def _pair_strips(*, sensor: bool) -> tuple[Strip, ...]:
    def both(title: str, channel: int, low: float, high: float, step: float) -> Strip:
        lines = (Line("A", channel, 3), Line("B", channel + len(PAIRED), 1, "dashed"))
        return Strip(title, lines, low, high, step)

    count = 2 * len(PAIRED)
    strips = (
        both("drive, %", 0, -100, 100, 50),
        both("current, A", 1, -0.5, 1, 1),
        Strip("current B \u2212 A, A", (Line("B \u2212 A current", count, 4),), -0.5, 0.5, 0.5),
        both("position, %", 2, 0, 100, 50),
        Strip("position B \u2212 A, %", (Line("B \u2212 A position", count + 1, 4),), -5, 5, 5),
        both("supply, V", 3, 0, 15, 5),
    )
    return strips if sensor else tuple(strip for strip in strips if "position" not in strip.title)


def _values(data: RunData, profile: Profile) -> Array:
    rows = data.samples
    return with_position(np.stack([rows[name] for name in CHANNELS]), profile)


def _rounded(values: Array, digits: int = 4) -> list[float | None]:
    return [value if value == value else None for value in values.round(digits).tolist()]

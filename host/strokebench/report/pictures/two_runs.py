"""Two recordings over one another: the whole run, and the stretch in which they differ most."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from strokebench.diagnose.case import load_voltage
from strokebench.diagnose.expects import nominal_percent
from strokebench.diagnose.stats import Floats
from strokebench.report.pictures import ink
from strokebench.report.pictures.drawing import WIDE, Picture, Sheet, sheet
from strokebench.report.pictures.marks import thin
from strokebench.verdict.compare import aligned_s

if TYPE_CHECKING:
    from strokebench.data.run import RunData
    from strokebench.parts.profile import Profile
    from strokebench.verdict.compare import Comparison, Side

INKS, DASHES = (ink.OPEN, ink.CLOSE), ("-", "--")
WINDOW_S = (0.4, 4.0)
"""The stretch that is shown large is at least and at most so long."""
SMOOTH_S = 0.02
ALIKE_PERCENT = 2.0
"""Drives that differ by less are taken as the same."""
SEEN = 0.02
"""A difference of this share of the range can be seen in the figure."""
Channel = tuple[str, Callable[["RunData"], Floats]]


@dataclass(frozen=True)
class Curves:
    """A recording to be drawn: its clock, set to the first one's, and its values for each channel."""

    time_s: Floats
    values: list[Floats]


def whole_runs(found: Comparison, names: tuple[str, str]) -> Picture | None:
    """Return both recordings from beginning to end."""
    channels, curves, how = _curves(found)
    if not any(len(each.time_s) for each in curves):
        return None
    with sheet("Both runs over time", WIDE, 4.7, rows=3, ratios=[1, 1.5, 1.5]) as page:
        _draw(page, channels, curves, names)
        return page.picture(f"{_legend(names)} {how}")


def stretch(
    found: Comparison, names: tuple[str, str], height_in: float = 4.0, *, short: bool = False
) -> Picture | None:
    """Return the stretch in which the recordings differ most, large; of one recording alone all of it.

    ``short``: without the drive. None when neither has rows. A recording without rows is one of a part that
    the bench did not drive.
    """
    channels, curves, how = _curves(found)
    first_row = 1 if short else 0
    there = [len(each.time_s) > 1 for each in curves]
    if not any(there):
        return None
    if not all(there):
        missing = names[there.index(False)]
        with sheet("Afterwards" if there[1] else "Beforehand", WIDE, height_in, rows=3 - first_row) as page:
            _draw(page, channels, curves, names, first_row)
            return page.picture(
                f"{missing.capitalize()!r} is not drawn, because the bench did not drive the part then."
            )
    first_s, last_s = most_different(curves)
    kept = [_between(each, first_s, last_s) for each in curves]
    with sheet("Where they differ most", WIDE, height_in, rows=3 - first_row) as page:
        _draw(page, channels, kept, names, first_row)
        page.axes[-1].set_xlim(first_s, last_s)
        return page.picture(f"{_legend(names)} {_segment(found.a.run, first_s, last_s)}{how}")


def plane(found: Comparison, names: tuple[str, str]) -> Picture | None:
    """Return position over drive; None for parts without a position sensor."""
    sides = (found.a, found.b)
    if not all("a" in side.profile.tracks and len(side.run.samples) for side in sides):
        return None
    with sheet("Position over drive", WIDE, 3.4) as page:
        axes = page.axes[0]
        for side, name, colour, dashes in zip(sides, names, INKS, DASHES, strict=True):
            step = max(1, len(side.run.samples) // 4000)
            drive, percent = side.run.samples["drive"][::step] * 100, _percent(side)[::step]
            axes.plot(drive, percent, dashes, color=colour, linewidth=0.8, label=name)
        axes.set(xlabel="drive, %", ylabel="position, %")
        axes.legend(loc="upper left")
        return page.picture(f"Position by the nominal ends of track A. {_legend(names)}")


def most_different(curves: tuple[Curves, Curves]) -> tuple[float, float]:
    """Return begin and end of the stretch around the largest difference, each channel by its own range.

    Where the two are driven alike, if there is such a place: else it would be the drive that differs.

    A difference counts by its median over 20 ms, so that a spike of a row or a step that comes a little later
    does not hide what lasts.
    """
    a, b = curves
    last_s = min(a.time_s[-1], b.time_s[-1])
    grid = np.arange(a.time_s[0], last_s, SMOOTH_S / 4)
    if len(grid) < 10:
        return float(a.time_s[0]), float(max(a.time_s[-1], b.time_s[-1]))
    apart = np.zeros(len(grid))
    for mine, other in zip(a.values[1:], b.values[1:], strict=True):
        reach = np.nanmax(mine) - np.nanmin(mine) + np.nanmax(other) - np.nanmin(other)
        if np.isfinite(reach) and reach > 0:
            between = np.interp(grid, a.time_s, mine) - np.interp(grid, b.time_s, other)
            apart = np.fmax(apart, np.abs(between) / reach)
    driven = [np.interp(grid, each.time_s, each.values[0]) for each in curves]
    alike = np.abs(driven[0] - driven[1]) < ALIKE_PERCENT
    if np.nanmax(np.where(alike, apart, 0.0)) > SEEN:
        apart = np.where(alike, apart, 0.0)
    lasting = np.median(np.lib.stride_tricks.sliding_window_view(np.nan_to_num(apart), 5), axis=1)
    at = int(np.argmax(lasting))
    wide = lasting > 0.5 * lasting[at]
    first, last = at, at
    while first > 0 and wide[first - 1]:
        first -= 1
    while last < len(wide) - 1 and wide[last + 1]:
        last += 1
    middle_s, length_s = (grid[first] + grid[last]) / 2, grid[last] - grid[first]
    half_s = float(np.clip(1.5 * length_s, *WINDOW_S)) / 2
    middle_s = middle_s if length_s < WINDOW_S[1] else grid[at]
    return max(float(a.time_s[0]), middle_s - half_s), min(float(last_s), middle_s + half_s)


def _curves(found: Comparison) -> tuple[list[Channel], tuple[Curves, Curves], str]:
    a, b = found.a, found.b
    channels = _channels(a.profile)
    aligned = aligned_s(a.run, b.run)
    there = len(a.run.samples) and len(b.run.samples)
    how = ""
    if there:
        how = "The second is laid on the first one's clock, segment by segment."
        how = how if aligned is not None else "Each has its own clock."
    clock = np.asarray(b.run.samples["time_s"], float) if aligned is None else aligned
    known = np.isfinite(clock)
    first = Curves(np.asarray(a.run.samples["time_s"], float), [values(a.run) for _, values in channels])
    second = Curves(clock[known], [values(b.run)[known] for _, values in channels])
    return channels, (first, second), how


def _channels(profile: Profile) -> list[Channel]:
    if "a" in profile.tracks:
        last: Channel = ("position, %", lambda run: _position(run, profile))
    else:
        last = ("voltage, V", lambda run: np.asarray(load_voltage(run.samples), float))
    return [
        ("drive, %", lambda run: np.asarray(run.samples["drive"] * 100, float)),
        ("current, A", lambda run: np.asarray(run.samples["current_a"], float)),
        last,
    ]


def _position(run: RunData, profile: Profile) -> Floats:
    return np.asarray(nominal_percent(profile.tracks["a"], run.samples["sensor_a_v"]), float)


def _percent(side: Side) -> Floats:
    return _position(side.run, side.profile)


def _between(curves: Curves, first_s: float, last_s: float) -> Curves:
    low, high = np.searchsorted(curves.time_s, (first_s, last_s))
    here = slice(max(int(low) - 1, 0), int(high) + 1)
    return Curves(curves.time_s[here], [values[here] for values in curves.values])


def _draw(
    page: Sheet,
    channels: list[Channel],
    curves: tuple[Curves, ...] | list[Curves],
    names: tuple[str, str],
    first_row: int = 0,
) -> None:
    for row, axes in enumerate(page.axes, first_row):
        for each, name, colour, dashes in zip(curves, names, INKS, DASHES, strict=True):
            if len(each.time_s):
                line = thin(each.time_s, each.values[row])
                axes.plot(*line, dashes, color=colour, label=name, linewidth=1.4)
        axes.set_ylabel(channels[row][0])
    page.axes[0].legend(loc="lower right", bbox_to_anchor=(1.0, 1.0), ncols=2, borderaxespad=0.1)
    page.axes[-1].set_xlabel("time, s")


def _legend(names: tuple[str, str]) -> str:
    first, second = names
    return f"{first[:1].upper()}{first[1:]} solid, {second} dashed."


def _segment(run: RunData, first_s: float, last_s: float) -> str:
    """Return the name of the segment in the middle of a stretch, as the start of a sentence."""
    middle_s = (first_s + last_s) / 2
    label = next((mark.label for mark in run.marks if mark.start_s <= middle_s < mark.end_s), "")
    return f"Segment: {label.replace('_', ' ')}. " if label else ""

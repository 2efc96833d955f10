"""The figures of a part that moves: current over position, sensor tracks, quick moves, ripple."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from strokebench.data.findings import Finding
from strokebench.diagnose import labels
from strokebench.diagnose.moving.case import MovingCase
from strokebench.diagnose.moving.sweeps import GRID, typical
from strokebench.diagnose.stats import Floats
from strokebench.report.pictures import ink
from strokebench.report.pictures.drawing import HALF, WIDE, Picture, drawn, failing_of, sheet
from strokebench.report.pictures.electric import resistance, supply
from strokebench.report.pictures.marks import above, limit_line, shade, thin
from strokebench.report.pictures.whole_run import whole_run


def pictures(case: MovingCase, findings: list[Finding]) -> list[Picture]:
    """Return the figures that the recording allows, in reading order."""
    failing = failing_of(findings)
    return drawn(
        loops(case, failing), whole_run(case, failing), sensor_tracks(case, failing), steps(case),
        resistance(case), burst(case), supply(case),
    )  # fmt: skip


def loops(case: MovingCase, failing: dict[str, Finding]) -> Picture | None:
    """Current against position up and down, and the friction between them."""
    if case.position is None or not case.sweeps.passes:
        return None
    with sheet("Current against position", WIDE, 4.0, rows=2, ratios=[2.2, 1]) as page:
        upper, lower = page.axes
        for direction, colour, name in ((1, ink.OPEN, "opening"), (-1, ink.CLOSE, "returning")):
            curves = case.sweeps.towards(direction)
            for number, curve in enumerate(curves):
                upper.plot(
                    GRID, curve, color=colour, linewidth=0.8, alpha=0.8, label=name if number == 0 else None
                )
        up, down = typical(case.sweeps.towards(1)), typical(case.sweeps.towards(-1))
        upper.fill_between(GRID, up, down, color=ink.FAINT, alpha=0.5, linewidth=0)
        sprung = math.isfinite(case.rest_percent)
        middle = "spring (middle)" if sprung else "middle"
        upper.plot(GRID, (up + down) / 2, color=ink.DARK, linewidth=0.8, linestyle="--", label=middle)
        upper.axhline(0, color=ink.GREY, linewidth=0.6)
        upper.set_ylabel("current, A")
        _friction_axis(case, lower)
        places(case, (upper, lower), failing)
        upper.set_ylim(_with_room(upper.get_ylim()))
        upper.legend(loc="lower right", ncols=3, frameon=True, facecolor="white", edgecolor="none")
        return page.picture(
            f"{len(case.sweeps.passes)} slow sweeps. The current needed at each place on the way open and on "
            "the way back. Half the distance between them is friction. The finding is the part of it that "
            "does not grow with speed. "
            + ("The middle is the spring." if sprung else "Without a spring the middle is near zero.")
        )


def _with_room(limits: tuple[float, float]) -> tuple[float, float]:
    """Return the limits of an axis with room at the foot, so that the legend is clear of the curves."""
    low, high = limits
    return low - 0.14 * (high - low), high


def _friction_axis(case: MovingCase, axes: Any) -> None:
    away = ~(np.abs(GRID - case.rest_percent) <= 1.5)  # at rest the spring changes sides: no loop there
    for curve in case.sweeps.friction_a:
        axes.plot(GRID, np.where(away, curve, math.nan), color=ink.DARK, linewidth=0.7, alpha=0.7)
    limit = case.limits("friction")[1]
    curve = typical(case.sweeps.friction_a)
    if limit is not None:
        limit_line(axes, limit)
        where = {"xycoords": ("axes fraction", "data"), "ha": "right", "va": "bottom"}
        axes.annotate("limit of its median", (0.995, limit), fontsize=7.5, color=ink.BAD, **where)
    if np.isfinite(curve).any():
        top = max(float(np.nanmax(case.sweeps.friction_a)), limit or 0.0)
        axes.set_ylim(0, 1.25 * top)
    axes.set(ylabel="friction, A", xlabel="position, % of travel", xlim=(0, 100))


def places(case: MovingCase, axes: tuple[Any, ...], failing: dict[str, Finding]) -> None:
    """Mark rest, and the binding place when there is one."""
    marks = [(case.rest_percent, ink.GREY, "rest")]
    if "binding" in failing and failing["binding"].place is not None:
        place = failing["binding"].place
        marks.append((place, ink.BAD, f"binds at {place:.1f} %"))
    for place, colour, text in marks:
        if not math.isfinite(place):
            continue
        for panel in axes:
            panel.axvline(place, color=colour, linewidth=1.0, linestyle="-" if colour == ink.BAD else ":")
            if colour == ink.BAD:
                shade(panel, place - 2, place + 2, ink.BAD, 0.15, zorder=0)
        above(axes[0], place, text, colour)


def sensor_tracks(case: MovingCase, failing: dict[str, Finding]) -> Picture | None:
    """Both tracks against position over the slow sweeps, with their nominal lines."""
    if case.position is None or not case.tracks or not case.sweeps.passes:
        return None
    time_s = case.run.samples["time_s"]
    inside = np.zeros(len(time_s), bool)
    for sweep in case.sweeps.passes:
        inside |= (time_s >= sweep.start_s) & (time_s < sweep.end_s)
    where = case.position.percent[inside]
    with sheet("Sensor tracks", WIDE, 2.6) as page:
        axes = page.axes[0]
        for (name, track), colour in zip(case.tracks.items(), (ink.OPEN, ink.CLOSE), strict=False):
            axes.plot(
                (0, 100),
                (track.layout.closed_v, track.layout.open_v),
                color=ink.GREY,
                linewidth=0.7,
                linestyle=":",
            )
            for low, high in _envelope(where, track.volts[inside]):
                axes.plot(low, high, color=colour, linewidth=0.9)
            axes.plot([], [], color=colour, label=f"track {name.upper()}")
        for finding in failing.values():
            if finding.fault == "worn_track" and finding.place is not None:
                shade(axes, finding.place - 2.5, finding.place + 2.5, ink.BAD, 0.15)
                text = f"drops out at {finding.place:.1f} %"
                above(axes, finding.place, text, ink.BAD)
        axes.plot([], [], color=ink.GREY, linewidth=0.7, linestyle=":", label="nominal")
        axes.set(
            xlim=(-1, 101),
            xlabel=f"position, % of travel (from track {case.position.track.upper()})",
            ylabel="sensor, V",
        )
        axes.legend(loc="center right", bbox_to_anchor=(1.0, 0.5))
        caption = "Lowest and highest reading of each track at each place during the slow sweeps."
        return page.picture(caption)


def _envelope(where: Floats, volts: Floats) -> list[tuple[Floats, Floats]]:
    """Lowest and highest value of a track per 0.25 % of travel, as two lines."""
    cell = np.clip(np.round(where * 4).astype(int), -8, 408)
    order = np.lexsort((volts, cell))
    cells, values = cell[order], volts[order]
    first = np.flatnonzero(np.r_[True, np.diff(cells) > 0])
    last = np.r_[first[1:], len(cells)] - 1
    places = cells[first] / 4
    return [(places, values[first]), (places, values[last])]


def steps(case: MovingCase) -> Picture | None:
    """Quick moves and releases laid over one another."""
    if case.position is None:
        return None
    curves = 0
    with sheet("Quick moves and releases", HALF, 2.5) as page:
        axes = page.axes[0]
        kinds = ((labels.STEP_OPEN, ink.OPEN, "-"), (labels.STEP_CLOSE, ink.CLOSE, "-"),
                 (labels.RELEASE_OPEN, ink.OPEN, ":"), (labels.RELEASE_CLOSE, ink.CLOSE, ":"))  # fmt: skip
        for label, colour, style in kinds:
            for number, mark in enumerate(case.stretches(label)):
                where = case.percent(mark)
                name = label.replace("_", ", ") if number == 0 else None
                time_ms = np.arange(len(where), dtype=np.float64)
                axes.plot(
                    *thin(time_ms, where, 300), color=colour, linestyle=style, linewidth=1.0, label=name
                )
                curves += 1
        axes.set(xlabel="time after the change, ms", ylabel="position, %", xlim=(0, 400))
        axes.legend(loc="center right", handlelength=1.4)
        if not curves:
            return None
        return page.picture("Steps (solid) and coasting returns (dotted), all tries.")


def burst(case: MovingCase) -> Picture | None:
    """The first half millisecond of the ripple burst."""
    captures = [capture for capture in case.run.bursts if capture.label == labels.BURST_RIPPLE]
    if not captures:
        return None
    last = captures[-1]
    count = min(len(last.values), int(last.rate_hz * 4e-4))
    with sheet("Ripple", HALF, 2.5) as page:
        axes = page.axes[0]
        axes.plot(np.arange(count) / last.rate_hz * 1e6, last.values[:count], color=ink.DARK, linewidth=0.9)
        axes.set(xlabel="time, \u00b5s", ylabel=f"current, {last.unit}")
        return page.picture(
            f"Part of a burst at {last.rate_hz / 1e3:g} kS/s, against the stop.", "Ripple of the current"
        )

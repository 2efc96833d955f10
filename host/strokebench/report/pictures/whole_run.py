"""The figure every run has: drive, supply, current and position against time."""

from __future__ import annotations

from typing import Any

import numpy as np

from strokebench.data.findings import Finding
from strokebench.diagnose import labels
from strokebench.diagnose.case import Case, load_voltage
from strokebench.diagnose.stats import Floats
from strokebench.report.pictures import ink
from strokebench.report.pictures.drawing import WIDE, Picture, Sheet, sheet
from strokebench.report.pictures.marks import above, curve, shade, thin

SHORT_S = 3.0
BANDS = {
    labels.SWEEP_OPEN: "sweeps", labels.SWEEP_RETURN: "sweeps", labels.STALL_OPEN: "stalls",
    labels.STALL_CLOSE: "stalls", labels.STEP_OPEN: "steps", labels.STEP_CLOSE: "steps",
    labels.SEAT_OPEN: "off the seat", labels.STROKE_OPEN: "strokes", labels.STROKE_CLOSE: "strokes",
    labels.COIL_STEP: "coil", labels.COIL_LEVEL: "coil", labels.PULL_IN: "slow ramps",
    labels.DROP_OUT: "slow ramps", labels.COIL_STEP_PULLED: "steps", labels.PULL_STEP: "pull-in",
    labels.STILL: "still", labels.SOFT_START: "soft start", labels.LEVEL: "levels",
    labels.BURST_LEVEL: "levels", labels.RELEASE: "levels", labels.STEP_START: "start",
    labels.LOAD: "low currents", labels.FULL_LOAD: "full load",
}  # fmt: skip


def whole_run(case: Case, failing: dict[str, Finding]) -> Picture | None:
    """Drive and supply, current, position or sensor volts against time."""
    samples = case.run.samples
    if len(samples) < 2:
        return None
    time_s = np.asarray(samples["time_s"], float)
    with sheet("The whole run", WIDE, 4.6, rows=3, ratios=[1.35, 1.2, 1.2]) as page:
        top, middle, bottom = page.axes
        curve(top, time_s, samples["drive"] * 100, "drive, %", ink.DARK)
        _supply_above(top, time_s, np.asarray(samples["supply_v"], float))
        curve(middle, time_s, samples["current_a"], "current, A", ink.DARK)
        if np.nanmax(np.abs(samples["current_a"])) < 0.1:
            middle.set_ylim(-0.1, 0.1)
        _position_axis(case, bottom, time_s)
        page.on_time(time_s)
        _bands(case, page)
        _fail_spans(page.axes, failing)
        return page.picture(_run_caption(failing))


def _supply_above(axes: Any, time_s: Floats, supply_v: Floats) -> None:
    """Draw the supply in the uppermost quarter, on its own scale, and the drive below it: neither hides the
    other."""
    low, high = axes.get_ylim()
    ticks = [tick for tick in axes.get_yticks() if low <= tick <= high]
    axes.set_ylim(low, high + 0.5 * (high - low))
    axes.set_yticks(ticks)
    right = axes.twinx()
    right.plot(*thin(time_s, supply_v), color=ink.THIRD, linewidth=0.8)
    right.set_ylabel("supply, V", color=ink.THIRD, loc="top")
    right.grid(False)
    right.spines["right"].set_visible(False)
    known = supply_v[np.isfinite(supply_v)]
    if not len(known):
        return
    least, most = np.floor(10 * known.min()) / 10, np.ceil(10 * known.max()) / 10
    room = max(most - least, 0.3)
    right.set_ylim(least - 3.0 * room, least + 1.15 * room)
    right.set_yticks([least, least + room])


def _run_caption(failing: dict[str, Finding]) -> str:
    text = "Drive and supply, current, and position or voltage on one time axis."
    if not any(finding.span_s is not None for finding in failing.values()):
        return text
    return text + " Red: here a value out of its limits was read. A bar at the foot marks a long stretch."


def _position_axis(case: Case, axes: Any, time_s: Floats) -> None:
    position = getattr(case, "position", None)
    if position is not None and not position.track:
        _reckoned(case, axes, time_s, position.percent)
        return
    if position is not None:
        curve(axes, time_s, position.percent, "position, %", ink.OPEN)
        return
    samples = case.run.samples
    if not case.profile.tracks:
        curve(axes, time_s, load_voltage(samples), "voltage, V", ink.OPEN)
        return
    for name, colour in (("a", ink.OPEN), ("b", ink.CLOSE)):
        volts = samples[f"sensor_{name}_v"]
        axes.plot(*thin(time_s, volts), color=colour, label=f"track {name.upper()}")
    axes.set_ylabel("sensor, V")
    axes.legend(loc="upper right", ncols=2)


def _reckoned(case: Case, axes: Any, time_s: Floats, percent: Floats) -> None:
    """Draw the position of a part without a sensor where it was reckoned: during its strokes only."""
    for mark in case.run.marks:
        if BANDS.get(mark.label) in ("strokes", "sweeps"):
            here = (time_s >= mark.start_s) & (time_s < mark.end_s)
            axes.plot(*thin(time_s[here], percent[here]), color=ink.OPEN)
    axes.set_ylabel("position, %\n(reckoned)")


def _bands(case: Case, page: Sheet) -> None:
    """Shade what the procedure was doing, as far as rows reach; the name once per kind and stretch."""
    first_s, last_s = (float(case.run.samples["time_s"][at]) for at in (0, -1))
    spans: list[tuple[str, float, float]] = []
    for mark in case.run.marks:
        kind = BANDS.get(mark.label)
        if kind is None or mark.end_s <= first_s or mark.start_s >= last_s:
            continue
        if spans and spans[-1][0] == kind and mark.start_s - spans[-1][2] < 2.0:
            spans[-1] = (kind, spans[-1][1], mark.end_s)
        else:
            spans.append((kind, mark.start_s, mark.end_s))
    for kind, start_s, end_s in spans:
        page.shade(start_s, end_s, ink.FAINT, 0.35)
        above(page.axes[0], (max(start_s, first_s) + min(end_s, last_s)) / 2, kind, ink.GREY)


def _fail_spans(all_axes: list[Any], failing: dict[str, Finding]) -> None:
    """Shade where something out of limits was read; of a long stretch only the foot, to hide no curve."""
    for finding in failing.values():
        if finding.span_s is None:
            continue
        short = finding.span_s[1] - finding.span_s[0] < SHORT_S
        top, alpha = (1.0, 0.3) if short else (0.035, 0.85)
        for axes in all_axes:
            shade(axes, *_visible(axes, finding.span_s), ink.BAD, alpha, top)


def _visible(axes: Any, span_s: tuple[float, float]) -> tuple[float, float]:
    """Return a span widened so far that it can be seen: 0.6 % of the axis at least."""
    least = 0.003 * (axes.get_xlim()[1] - axes.get_xlim()[0])
    middle, half = (span_s[0] + span_s[1]) / 2, max((span_s[1] - span_s[0]) / 2, least)
    return middle - half, middle + half

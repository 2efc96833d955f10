"""The figures of a recording from elsewhere that lacks channels or followed no procedure: what it holds."""

from __future__ import annotations

from typing import Any

import numpy as np

from strokebench.data.findings import Finding, Verdict
from strokebench.diagnose import labels
from strokebench.diagnose.case import Case
from strokebench.diagnose.switched.case import captured, starts, times
from strokebench.report.drawing import (
    BAD,
    CLOSE,
    FAINT,
    GREY,
    INK,
    OPEN,
    THIRD,
    WIDE,
    Picture,
    above,
    sheet,
    thin,
)

PANELS = (
    ("drive", "drive", INK), ("current_a", "current, A", INK), ("supply_v", "supply, V", THIRD),
    ("output_a_v", "output A, V", OPEN), ("output_b_v", "output B, V", CLOSE),
    ("sensor_a_v", "sensor A, V", OPEN), ("sensor_b_v", "sensor B, V", CLOSE), ("part_c", "part, C", INK),
)  # fmt: skip
NAMES = {labels.REST: "rest", labels.SWITCHED_ON: "on", labels.STEADY: "steady"}
START_S, BEFORE_S = 0.15, 0.01
ROTOR_START_S = 0.6


def pictures(case: Case, findings: list[Finding]) -> list[Picture]:
    """Return every channel against time, and the first start as captured."""
    failing = [one for one in findings if one.verdict is Verdict.FAIL]
    return [one for one in (channels(case, failing), start(case)) if one is not None]


def channels(case: Case, failing: list[Finding]) -> Picture | None:
    """Each channel that the recording holds, one below another; what was out of limits is red."""
    rows = case.run.samples
    held = [one for one in PANELS if len(rows) > 1 and np.isfinite(rows[one[0]]).any()]
    if not held:
        return None
    time_s = np.asarray(rows["time_s"], float)
    with sheet("The recording", WIDE, 1.0 + 1.2 * len(held), rows=len(held)) as page:
        for axes, (name, title, colour) in zip(page.axes, held, strict=True):
            axes.plot(*thin(time_s, np.asarray(rows[name], float)), color=colour)
            axes.set_ylabel(title)
            for one in failing:
                if one.span_s is not None:
                    axes.axvspan(*one.span_s, color=BAD, alpha=0.25, linewidth=0)
        _bands(case, page.axes)
        page.axes[-1].set_xlabel("time, s")
        page.axes[-1].set_xlim(time_s[0], time_s[-1])
        svg = page.svg()
    caption = "The channels that the file holds, as means over 1 ms where it is faster."
    return Picture("The recording", caption + (" Red: out of limits." if failing else ""), svg, wide=True)


def _bands(case: Case, all_axes: list[Any]) -> None:
    for mark in case.run.marks:
        if mark.label in (labels.REST, labels.STEADY):
            for axes in all_axes:
                axes.axvspan(mark.start_s, mark.end_s, color=FAINT, alpha=0.5, linewidth=0)
            above(all_axes[0], (mark.start_s + mark.end_s) / 2, NAMES[mark.label], GREY)


def start(case: Case) -> Picture | None:
    """The current of the first start, as captured."""
    begun = starts(case)
    if not begun:
        return None
    long_s = START_S if case.profile.kind == "solenoid" else ROTOR_START_S
    burst = captured(case, begun[0].start_s - BEFORE_S, min(begun[0].end_s, begun[0].start_s + long_s))
    if burst is None or len(burst.values) < 3:
        return None
    with sheet("Current after switching on", WIDE, 2.6) as page:
        axes = page.axes[0]
        axes.plot(*thin(1e3 * (times(burst) - begun[0].start_s), burst.values), color=INK)
        axes.set_xlabel("time after switching on, ms")
        axes.set_ylabel("current, A")
        svg = page.svg()
    caption = f"The first start, at {burst.rate_hz:.0f} rows a second, above the current's zero before it."
    return Picture("Current after switching on", caption, svg, wide=True)

"""The figures of a recording from elsewhere that lacks channels or followed no procedure: what it holds."""

from __future__ import annotations

import math

import numpy as np

from strokebench.data.findings import Finding
from strokebench.diagnose import labels
from strokebench.diagnose.case import Case, load_voltage
from strokebench.diagnose.moving.case import MovingCase
from strokebench.diagnose.switched.case import captured, starts, times
from strokebench.diagnose.switched.rotor import steady_reading
from strokebench.diagnose.switched.rundown import read_fall, read_rundown, switched_off
from strokebench.diagnose.turning.case import TurningCase
from strokebench.report.pictures import ink, moving
from strokebench.report.pictures.drawing import WIDE, Picture, Sheet, drawn, failing_of, sheet
from strokebench.report.pictures.marks import above, curve, thin

PANELS = (
    ("drive", "drive", ink.DARK), ("current_a", "current, A", ink.DARK), ("supply_v", "supply, V", ink.THIRD),
    ("output_a_v", "output A, V", ink.OPEN), ("output_b_v", "output B, V", ink.CLOSE),
    ("sensor_a_v", "sensor A, V", ink.OPEN), ("sensor_b_v", "sensor B, V", ink.CLOSE),
    ("part_c", "part, C", ink.DARK),
)  # fmt: skip
NAMES = {
    labels.REST: "rest", labels.STEADY: "steady",
    labels.SWEEP_OPEN: "opens", labels.STEP_OPEN: "opens quickly",
    labels.STROKE_OPEN: "opens quickly", labels.STROKE_CLOSE: "closes quickly",
    labels.SWEEP_RETURN: "closes", labels.STEP_CLOSE: "closes quickly", labels.RELEASE_OPEN: "released",
    labels.RELEASE_CLOSE: "released",
}  # fmt: skip
"""Stretches that are shown -> the title above them."""
MOVES = (
    labels.SWEEP_OPEN, labels.SWEEP_RETURN, labels.STEP_OPEN, labels.STEP_CLOSE, labels.STROKE_OPEN,
    labels.STROKE_CLOSE,
)  # fmt: skip
START_S, BEFORE_S = 0.15, 0.01
ROTOR_START_S = 0.6
ROOM = 2.5
"""Times what a law was fitted to, that is shown of a run-down."""


def pictures(case: Case, findings: list[Finding]) -> list[Picture]:
    """Return every channel against time with what was found in it; of a part that was moved also current and
    tracks against position, of one that was switched on the first start as captured."""
    failing = failing_of(findings)
    if isinstance(case, MovingCase) and case.by_motor and case.sweeps.passes:
        beside = moving.loops(case, failing), moving.sensor_tracks(case, failing)
        return drawn(channels(case, failing), *beside)
    return drawn(channels(case, failing), start(case), runs_down(case))


def channels(case: Case, failing: dict[str, Finding]) -> Picture | None:
    """Each channel that the recording holds, one below another; what was out of limits is red."""
    rows = case.run.samples
    held = [panel for panel in PANELS if len(rows) > 1 and np.isfinite(rows[panel[0]]).any()]
    if not held:
        return None
    time_s = np.asarray(rows["time_s"], float)
    with sheet("The recording", WIDE, 1.0 + 1.2 * len(held), rows=len(held)) as page:
        for axes, (column, name, colour) in zip(page.axes, held, strict=True):
            curve(axes, time_s, np.asarray(rows[column], float), name, colour)
        for finding in failing.values():
            if finding.span_s is not None:
                page.shade(*finding.span_s, ink.BAD, 0.25)
        _bands(case, page)
        page.on_time(time_s)
        caption = "The channels of the file. Faster ones are means over 1 ms."
        caption += " Above them: what was found in it."
        return page.picture(caption + (" Red: out of limits." if failing else ""))


def _bands(case: Case, page: Sheet) -> None:
    moved = any(mark.label in MOVES for mark in case.run.marks)
    for mark in case.run.marks:
        if mark.label in NAMES and (mark.label != labels.STEADY or not moved):
            page.shade(mark.start_s, mark.end_s, ink.FAINT, 0.5)
            above(page.axes[0], (mark.start_s + mark.end_s) / 2, NAMES[mark.label], ink.GREY)


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
        axes.plot(*thin(1e3 * (times(burst) - begun[0].start_s), burst.values), color=ink.DARK)
        axes.set(xlabel="time after switching on, ms", ylabel="current, A")
        rate = f"{burst.rate_hz:.0f} rows a second"
        return page.picture(f"The first start, at {rate}, above the current's zero before it.")


def runs_down(case: Case) -> Picture | None:
    """The back-EMF of a rotor that was switched off, with the load's law through it."""
    if not isinstance(case, TurningCase):
        return None
    rate = steady_reading(case)[1].rate
    speed = math.nan if rate is None else 2 * math.pi * rate.hz
    down, off = read_rundown(case, speed), switched_off(case)
    fall = None if isinstance(down, str) else read_fall(case, down, speed)
    if isinstance(down, str) or off is None or fall is None:
        return None
    until_s = off.start_s + ROOM * (down.span_s[1] - off.start_s)
    rows = case.between(off.start_s, min(off.end_s, until_s))
    with sheet("How it runs down", WIDE, 2.6) as page:
        axes = page.axes[0]
        time_ms = 1e3 * (np.asarray(rows["time_s"], float) - off.start_s)
        axes.plot(time_ms, np.abs(load_voltage(rows)), ".", color=ink.OPEN, markersize=3, label="recorded")
        share = np.linspace(1.0, max(float(np.min(np.abs(load_voltage(rows)))) / down.emf_v, 0.02), 200)
        slope = fall.slope(share)
        since_s = np.concatenate(([0.0], np.cumsum(-np.diff(share) * down.emf_v / slope[:-1])))
        here = (slope > 0) & (1e3 * since_s <= time_ms[-1])
        axes.plot(1e3 * since_s[here], (share * down.emf_v)[here], color=ink.DARK, label="the load's law")
        axes.axvspan(*(1e3 * (edge_s - off.start_s) for edge_s in down.span_s), color=ink.FAINT, alpha=0.5)
        axes.set(xlabel="time after switching off, ms", ylabel="volts at the plug", ylim=(0, None))
        axes.legend(loc="upper right")
        return page.picture(
            "With open leads the voltage is the back-EMF. How fast it falls shows the load at each speed."
            " Grey: the stretch that the law was fitted to."
        )

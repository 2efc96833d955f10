"""The figures of an on/off solenoid: slow ramps with their dips, quick pull-ins, small steps, pull-in
time."""

from __future__ import annotations

from typing import Any

import numpy as np

from strokebench.data.findings import COVERAGE, Finding, Verdict
from strokebench.diagnose import labels
from strokebench.diagnose.coil.case import CoilCase
from strokebench.diagnose.coil.inductor import BEFORE
from strokebench.diagnose.coil.pull import Snap, snaps
from strokebench.diagnose.coil.pull_time import pulls, valley
from strokebench.report.pictures import ink
from strokebench.report.pictures.drawing import HALF, WIDE, Picture, drawn, failing_of, sheet
from strokebench.report.pictures.electric import resistance, supply
from strokebench.report.pictures.marks import above, limit_line, thin
from strokebench.report.pictures.whole_run import whole_run

MOTIONS = {labels.PULL_IN: "pull_in_current", labels.DROP_OUT: "drop_out_current"}
"""Label of a ramp -> the finding that is read from the motion on it."""


def pictures(case: CoilCase, findings: list[Finding]) -> list[Picture]:
    """Return the figures that the recording allows, in reading order."""
    failing = failing_of(findings)
    return drawn(
        ramps(case, failing), whole_run(case, failing), quick(case), small_steps(case), pull_times(case,
        findings), resistance(case), supply(case),
    )  # fmt: skip


def ramps(case: CoilCase, failing: dict[str, Finding]) -> Picture | None:
    """Current against voltage on the slow ramps up and down; a dot where the plunger starts to move."""
    kinds = ((labels.PULL_IN, 1, ink.OPEN, "rising"), (labels.DROP_OUT, -1, ink.CLOSE, "falling"))
    if not any(case.stretches(label) for label, *_ in kinds):
        return None
    with sheet("Slow ramps", WIDE, 3.4) as page:
        axes = page.axes[0]
        for label, direction, colour, name in kinds:
            for number, mark in enumerate(case.stretches(label)):
                here = case.window(mark.start_s, mark.end_s)
                axes.plot(
                    *thin(case.volts[here], case.current_a[here]), color=colour, linewidth=0.9,
                    label=name if number == 0 else None,
                )  # fmt: skip
            for snap in snaps(case, label, direction):
                dot = ink.BAD if MOTIONS[label] in failing else colour
                axes.plot(_volts_at(case, snap), snap.current_a, "o", color=dot, markersize=4)
        _limits(case, axes, failing)
        axes.set(xlabel="voltage at the coil, V", ylabel="current, A", xlim=(0, None), ylim=(0, None))
        axes.legend(loc="upper left")
        caption = (
            "The current dips when the plunger pulls in and bumps when it lets go. Dots: where the motion "
            "began. Red dots: out of limits. Dotted: limits."
        )
        return page.picture(caption, "Slow ramps through pull-in and drop-out")


def _volts_at(case: CoilCase, snap: Snap) -> float:
    return float(case.volts[int(np.searchsorted(case.time_s, snap.time_s))])


def _limits(case: CoilCase, axes: Any, failing: dict[str, Finding]) -> None:
    """Draw limits of both currents, each with its name at the edge where no curve is."""
    kinds = (("pull_in_current", "pull-in", "left"), ("drop_out_current", "drop-out", "right"))
    for key, name, place in kinds:
        for limit, end in zip(case.limits(key), ("least", "most"), strict=True):
            if limit is None:
                continue
            limit_line(axes, limit)
            axes.text(0.01 if place == "left" else 0.995, limit, f"{name}, {end}", ha=place, va="bottom",
                      transform=axes.get_yaxis_transform(), color=ink.BAD, fontsize=7.5)  # fmt: skip
    if "plunger_moves" in failing:
        axes.text(0.98, 0.06, "no dip: the plunger does not move", transform=axes.transAxes, color=ink.BAD,
                  ha="right", va="bottom", fontsize=9)  # fmt: skip


def quick(case: CoilCase) -> Picture | None:
    """Current after quick steps at several voltages; a dot at the bottom of the dip."""
    marks = case.stretches(labels.PULL_STEP)
    if not marks:
        return None
    with sheet("Quick pull-ins", HALF, 2.5) as page:
        axes = page.axes[0]
        for number, mark in enumerate(marks):
            current_a = case.current_a[case.window(mark.start_s, mark.end_s)]
            time_ms = np.arange(len(current_a), dtype=np.float64)
            axes.plot(time_ms, current_a, color=(ink.DARK, ink.OPEN, ink.CLOSE)[number % 3], linewidth=0.9)
            at = valley(current_a)
            if at is not None:
                axes.plot(at, current_a[round(at)], "o", color=ink.GREY, markersize=3)
        axes.set(xlabel="time after the step, ms", ylabel="current, A", xlim=(0, 50), ylim=(0, None))
        return page.picture("Steps to three voltages. Dots: the plunger has arrived.")


def small_steps(case: CoilCase) -> Picture | None:
    """Current after small steps, which move nothing: its delay is the inductance's."""
    marks = case.stretches(labels.COIL_STEP)
    if not marks:
        return None
    with sheet("Small steps", HALF, 2.5) as page:
        axes = page.axes[0]
        for mark in marks:
            here = case.window(mark.start_s, mark.end_s)
            current_a = case.current_a[max(here.start - BEFORE, 0) : here.stop]
            time_ms = np.arange(len(current_a)) - BEFORE
            axes.plot(time_ms, 1e3 * current_a, ".-", color=ink.OPEN, linewidth=0.7, markersize=3)
        axes.set(xlabel="time after the step, ms", ylabel="current, mA", xlim=(-BEFORE, 30))
        caption = "Too little voltage to move the plunger. A path beside the coil takes its current at once."
        return page.picture(caption)


def pull_times(case: CoilCase, findings: list[Finding]) -> Picture | None:
    """Pull-in time against voltage as measured; the finding (for a step at once) and its limit at 12 V."""
    found = pulls(case)
    if len(found) < 3:
        return None
    with sheet("Pull-in time", HALF, 2.5) as page:
        axes = page.axes[0]
        axes.plot([pull.volts for pull in found], [pull.time_ms for pull in found], "o",
                  color=ink.DARK, markersize=4)  # fmt: skip
        for finding in findings:
            if finding.key == "pull_in_time" and finding.known:
                colour = ink.BAD if finding.verdict is Verdict.FAIL else ink.OPEN
                bar = COVERAGE * finding.u
                axes.errorbar([12.0], [finding.value], [bar], fmt="D", color=colour, ms=5, lw=1.0)
        upper = case.limits("pull_in_time")[1]
        if upper is not None:
            axes.plot([12.0], [upper], "v", color=ink.BAD, markersize=5)
            above(axes, 12.0, "limit at 12 V", ink.BAD)
            axes.axvline(12.0, color=ink.FAINT, linewidth=0.8)
        axes.set(
            xlabel="voltage at the coil, V",
            ylabel="pull-in time, ms",
            ylim=(0, 1.15 * max(*(pull.time_ms for pull in found), upper or 0.0)),
        )
        caption = "Dots: from the bench's ramped step to the end of the motion. Diamond: a sudden step, 12 V."
        return page.picture(caption, "Pull-in time against voltage")

"""The figures of a motor without a sensor: quick strokes with the stops found, current over position."""

from __future__ import annotations

import numpy as np

from strokebench.data.findings import Finding
from strokebench.diagnose.moving.sensorless import SensorlessCase
from strokebench.report.pictures import ink
from strokebench.report.pictures.drawing import WIDE, Picture, drawn, failing_of, sheet
from strokebench.report.pictures.electric import resistance, supply
from strokebench.report.pictures.marks import thin
from strokebench.report.pictures.moving import burst, loops
from strokebench.report.pictures.whole_run import whole_run


def pictures(case: SensorlessCase, findings: list[Finding]) -> list[Picture]:
    """Return the figures that the recording allows, in reading order."""
    failing = failing_of(findings)
    return drawn(
        loops(case, failing),
        strokes(case),
        whole_run(case, failing),
        resistance(case),
        burst(case),
        supply(case),
    )


def strokes(case: SensorlessCase) -> Picture | None:
    """Current and back-EMF of the quick strokes; a line where the motor comes to the stop."""
    found = case.quick or case.probe
    if not found:
        return None
    with sheet("Strokes", WIDE, 3.4, rows=2) as page:
        upper, lower = page.axes
        for stroke in found:
            colour = ink.OPEN if stroke.direction > 0 else ink.CLOSE
            time_ms = np.arange(len(stroke.current_a), dtype=np.float64)
            upper.plot(*thin(time_ms, stroke.current_a), color=colour, linewidth=0.9)
            lower.plot(*thin(time_ms, stroke.emf_v), color=colour, linewidth=0.9)
            if stroke.end > stroke.start:
                for axes in page.axes:
                    axes.axvline(stroke.end, color=colour, linewidth=0.7, linestyle=":")
            else:
                upper.text(
                    0.98,
                    0.1,
                    "does not turn",
                    transform=upper.transAxes,
                    ha="right",
                    color=ink.BAD,
                    fontsize=9,
                )
        upper.plot([], [], color=ink.OPEN, label="opening")
        upper.plot([], [], color=ink.CLOSE, label="closing")
        upper.plot([], [], color=ink.GREY, linestyle=":", label="at the stop")
        upper.legend(loc="lower right", ncols=3)
        upper.set_ylabel("current, A")
        lower.set(
            ylabel="back-EMF, V",
            xlabel="time after the change, ms",
            xlim=(0, min(len(found[0].current_a), 450)),
        )
        caption = "Quick strokes: the back-EMF shows the speed. At a stop it ends and the current rises."
        return page.picture(caption, "From stop to stop")

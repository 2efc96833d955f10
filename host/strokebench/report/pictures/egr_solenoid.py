"""The figures of a proportional solenoid valve: position against current, friction, sensor, coil."""

from __future__ import annotations

import numpy as np

from strokebench.data.findings import Finding, Verdict
from strokebench.diagnose.coil.solenoid_valve import SolenoidValveCase
from strokebench.diagnose.moving.sweeps import GRID
from strokebench.report.pictures import ink
from strokebench.report.pictures.drawing import WIDE, Picture, drawn, failing_of, sheet
from strokebench.report.pictures.electric import resistance, supply
from strokebench.report.pictures.marks import above, limit_line, shade
from strokebench.report.pictures.moving import places, sensor_tracks, steps
from strokebench.report.pictures.solenoid import small_steps
from strokebench.report.pictures.whole_run import whole_run


def pictures(case: SolenoidValveCase, findings: list[Finding]) -> list[Picture]:
    """Return the figures that the recording allows, in reading order."""
    failing = failing_of(findings)
    return drawn(
        position_curve(case, findings),
        friction(case, failing),
        whole_run(case, failing),
        sensor_tracks(case, failing),
        steps(case),
        small_steps(case),
        resistance(case),
        supply(case),
    )


def position_curve(case: SolenoidValveCase, findings: list[Finding]) -> Picture | None:
    """Position against current on the way up and down, with the dead band."""
    if case.position is None or not case.sweeps.passes:
        return None
    with sheet("Position against current", WIDE, 3.4) as page:
        axes = page.axes[0]
        for direction, colour, name in ((1, ink.OPEN, "opening"), (-1, ink.CLOSE, "closing")):
            for number, row in enumerate(case.sweeps.towards(direction)):
                axes.plot(
                    np.sqrt(row), GRID, color=colour, linewidth=0.9, label=name if number == 0 else None
                )
        found = {finding.key: finding for finding in findings}
        opens = found.get("opening_current")
        if opens is not None and opens.known:
            shade(axes, 0, opens.value, ink.GREY, 0.10)
            above(axes, opens.value / 2, "dead band", ink.GREY)
        shut = found.get("shut_position")
        if shut is not None and shut.verdict is Verdict.FAIL:
            height = max(shut.value, 0.0)
            axes.axhline(height, color=ink.BAD, linewidth=1.0)
            text = f"rests {shut.value:.1f} % open without power"
            axes.text(0.02, height + 2, text, color=ink.BAD, fontsize=8.5)
        axes.set(xlim=(0, None), ylim=(0, 103), xlabel="current, A", ylabel="position, % of travel")
        axes.legend(loc="center right")
        caption = (
            f"{len(case.sweeps.passes)} slow sweeps. The distance between up and down is the hysteresis."
        )
        return page.picture(caption)


def friction(case: SolenoidValveCase, failing: dict[str, Finding]) -> Picture | None:
    """Half the loop of the squared current over the position."""
    if case.position is None or not len(case.sweeps.friction_a):
        return None
    with sheet("Friction", WIDE, 2.2) as page:
        axes = page.axes[0]
        for row in case.sweeps.friction_a:
            axes.plot(GRID, row, color=ink.DARK, linewidth=0.8)
        upper = case.limits("friction")[1]
        limit_line(axes, upper)
        top = float(np.nanmax(case.sweeps.friction_a)) if np.isfinite(case.sweeps.friction_a).any() else 0.1
        axes.set_ylim(0, 1.25 * max(top, upper or 0.0))
        places(case, (axes,), failing)
        axes.set(xlim=(0, 100), xlabel="position, % of travel", ylabel="friction, A\u00b2")
        caption = "In squares of the current, because the pull grows with them. Dotted: limit of the median."
        return page.picture(caption, "Friction over the travel")

"""The figures of wiring under load: voltage lost against current on both sides, and its flicker in time."""

from __future__ import annotations

from typing import Any

import numpy as np

from strokebench.data.findings import Finding, Verdict
from strokebench.diagnose.case import Case, span_of
from strokebench.diagnose.wires.wiring import lost, measure, table_ohm
from strokebench.report.drawing import BAD, CLOSE, GREY, HALF, OPEN, WIDE, Picture, sheet, thin
from strokebench.report.pictures import supply
from strokebench.report.whole_run import whole_run

SIDES = (("supply", OPEN), ("ground", CLOSE))


def pictures(case: Case, findings: list[Finding]) -> list[Picture]:
    """Return the figures that the recording allows, in reading order."""
    failing = {one.key: one for one in findings if one.verdict is Verdict.FAIL}
    made = (losses(case, failing), whole_run(case, failing), flicker(case, failing), supply(case))
    return [one for one in made if one is not None]


def losses(case: Case, failing: dict[str, Finding]) -> Picture | None:
    """Voltage lost against current for each side that was measured, with what the wire table gives."""
    found = [
        (name, colour, side) for name, colour in SIDES if not isinstance(side := measure(case, name), str)
    ]
    if not found:
        return None
    with sheet("Loss under load", WIDE, 2.6) as page:
        axes = page.axes[0]
        for name, colour, side in found:
            bad = {f"{name}_excess", f"{name}_flicker"} & set(failing)
            top = float(side.current_a.max())
            zero_v = float(np.mean(side.lost_v - side.ohm * side.current_a))
            reach = np.array((0.0, top))
            axes.plot(
                side.current_a, 1e3 * (side.lost_v - zero_v), "o", color=BAD if bad else colour, markersize=4
            )
            text = f"{name} side, {1e3 * side.ohm:.0f} m\u2126" + (" (out of limits)" if bad else "")
            axes.plot(reach, 1e3 * side.ohm * reach, color=BAD if bad else colour, linewidth=1.0, label=text)
            expected = table_ohm(case, name, span_of(*side.rows))
            if expected is not None:
                axes.plot(reach, 1e3 * expected * reach, color=colour, linewidth=0.8, linestyle=":",
                          label=f"{name} side by the wire table, {1e3 * expected:.0f} m\u2126")  # fmt: skip
        axes.set_xlabel("current, A")
        axes.set_ylabel("voltage lost, mV")
        axes.set_xlim(left=0)
        axes.set_ylim(bottom=0)
        axes.legend(loc="upper left")
        svg = page.svg()
    caption = "Voltage between bench and far end at each current; dotted: copper of that gauge and length."
    return Picture("Loss under load", caption, svg, wide=True)


def flicker(case: Case, failing: dict[str, Finding]) -> Picture | None:
    """Resistance of both sides in time at the highest current at which each can be read."""
    drawn = 0
    with sheet("Steadiness", HALF, 2.5) as page:
        axes = page.axes[0]
        for name, colour in SIDES:
            side = measure(case, name)
            if isinstance(side, str):
                continue
            rows = side.rows[int(np.argmax(side.current_a))]
            _trace(axes, rows, name, BAD if f"{name}_flicker" in failing else colour)
            drawn += 1
        axes.set_xlabel("time into the level, s")
        axes.set_ylabel("lost over current, m\u2126")
        axes.set_ylim(bottom=0)
        if drawn:
            axes.legend(loc="best")
        svg = page.svg()
    if not drawn:
        return None
    return Picture(
        "Steadiness under load", "A joint that makes and breaks flickers (red); sound ones do not.", svg
    )


def _trace(axes: Any, rows: Any, name: str, colour: str) -> None:
    time_s = np.asarray(rows["time_s"], float)
    values = 1e3 * lost(rows, name) / np.asarray(rows["current_a"], float)
    axes.plot(*thin(time_s - time_s[0], values, 800), color=colour, linewidth=0.7, label=f"{name} side")
    axes.axhline(0, color=GREY, linewidth=0.5)

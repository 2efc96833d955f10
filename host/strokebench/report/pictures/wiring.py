"""The figures of wiring under load: voltage lost against current on both sides, and its flicker in time."""

from __future__ import annotations

from typing import Any

import numpy as np

from strokebench.data.findings import Finding
from strokebench.diagnose.case import Case, span_of
from strokebench.diagnose.wires.wiring import lost, measure, table_ohm
from strokebench.report.pictures import ink
from strokebench.report.pictures.drawing import HALF, WIDE, Picture, drawn, failing_of, sheet
from strokebench.report.pictures.electric import supply
from strokebench.report.pictures.marks import thin
from strokebench.report.pictures.whole_run import whole_run

SIDES = (("supply", ink.OPEN), ("ground", ink.CLOSE))


def pictures(case: Case, findings: list[Finding]) -> list[Picture]:
    """Return the figures that the recording allows, in reading order."""
    failing = failing_of(findings)
    return drawn(losses(case, failing), whole_run(case, failing), flicker(case, failing), supply(case))


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
                side.current_a,
                1e3 * (side.lost_v - zero_v),
                "o",
                color=ink.BAD if bad else colour,
                markersize=4,
            )
            text = f"{name} side, {1e3 * side.ohm:.0f} m\u2126" + (" (out of limits)" if bad else "")
            axes.plot(
                reach, 1e3 * side.ohm * reach, color=ink.BAD if bad else colour, linewidth=1.0, label=text
            )
            expected = table_ohm(case, name, span_of(*side.rows))
            if expected is not None:
                axes.plot(reach, 1e3 * expected * reach, color=colour, linewidth=0.8, linestyle=":",
                          label=f"{name} side by the wire table, {1e3 * expected:.0f} m\u2126")  # fmt: skip
        axes.set(xlabel="current, A", ylabel="voltage lost, mV", xlim=(0, None), ylim=(0, None))
        axes.legend(loc="upper left")
        caption = (
            "Voltage between bench and far end at each current. Dotted: copper of that gauge and length."
        )
        return page.picture(caption)


def flicker(case: Case, failing: dict[str, Finding]) -> Picture | None:
    """Resistance of both sides in time at the highest current at which each can be read."""
    curves = 0
    with sheet("Steadiness", HALF, 2.5) as page:
        axes = page.axes[0]
        for name, colour in SIDES:
            side = measure(case, name)
            if isinstance(side, str):
                continue
            rows = side.rows[int(np.argmax(side.current_a))]
            _trace(axes, rows, name, ink.BAD if f"{name}_flicker" in failing else colour)
            curves += 1
        axes.set(xlabel="time into the level, s", ylabel="lost over current, m\u2126", ylim=(0, None))
        if curves:
            axes.legend(loc="best")
        if not curves:
            return None
        return page.picture("A loose joint flickers (red). A sound joint does not.", "Steadiness under load")


def _trace(axes: Any, rows: Any, name: str, colour: str) -> None:
    time_s = np.asarray(rows["time_s"], float)
    values = 1e3 * lost(rows, name) / np.asarray(rows["current_a"], float)
    axes.plot(*thin(time_s - time_s[0], values, 800), color=colour, linewidth=0.7, label=f"{name} side")
    axes.axhline(0, color=ink.GREY, linewidth=0.5)

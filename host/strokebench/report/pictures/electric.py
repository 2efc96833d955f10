"""The figures that many kinds of part share: resistance of the winding, supply under load."""

from __future__ import annotations

import numpy as np

from strokebench.diagnose.case import Case, load_voltage
from strokebench.diagnose.winding import loop_of, stalls
from strokebench.report.pictures import ink
from strokebench.report.pictures.drawing import HALF, Picture, sheet

SETTLING_ROWS = 20
"""Rows after a jump of the drive in which bulk capacitors, not battery and leads, set the supply."""


def resistance(case: Case) -> Picture | None:
    """Voltage against current at the stalls, and the fitted line."""
    rows, loop = stalls(case), loop_of(case)
    if not rows or isinstance(loop, str):
        return None
    with sheet("Resistance", HALF, 2.5) as page:
        axes = page.axes[0]
        current_a = np.array([float(np.mean(part["current_a"])) for part in rows])
        volts = np.array([float(np.mean(load_voltage(part))) for part in rows])
        axes.plot(current_a, volts, "o", color=ink.DARK, markersize=4)
        reach = np.linspace(current_a.min(), current_a.max(), 2)
        axes.plot(reach, loop.ohm * reach + np.sign(reach) * loop.brush_v, color=ink.OPEN, linewidth=0.9)
        axes.set(xlabel="current, A", ylabel="voltage, V")
        return page.picture(
            f"Held still. The slope is {loop.ohm:.3f} ohm when cold.", "Resistance of winding and leads"
        )


def supply(case: Case) -> Picture | None:
    """Supply voltage against the current the bridge takes."""
    samples = case.run.samples
    if len(samples) < SETTLING_ROWS:
        return None
    drive = np.asarray(samples["drive"], float)
    input_a = drive * np.asarray(samples["current_a"], float)
    jumped = np.abs(np.diff(drive, prepend=drive[:1])) > 0.01
    steady = np.convolve(jumped, np.ones(SETTLING_ROWS), "full")[: len(drive)] < 0.5
    keep = np.flatnonzero((input_a > 0.05) & steady)[::25]
    if len(keep) < 20:
        return None
    with sheet("Supply", HALF, 2.5) as page:
        axes = page.axes[0]
        axes.plot(
            input_a[keep], samples["supply_v"][keep], ".", color=ink.THIRD, markersize=2, rasterized=False
        )
        axes.set(xlabel="current taken from the supply, A", ylabel="supply, V")
        return page.picture("The slope is the resistance of battery and supply leads.", "Supply under load")

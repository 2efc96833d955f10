"""Volts across the part on a bench that does not measure them: worked out from what it does measure."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from strokebench.bench.kinds import few_of
from strokebench.data.run import RunData
from strokebench.data.samples import TICK_S
from strokebench.diagnose.stats import Floats

OUTPUT_OHM = 0.026
"""Shunt of 10 mOhm, and half of the 32 mOhm that docs/beginners-bench.md allows the modules (what is really
there is between none and all of it, which the uncertainty has)."""

MOVES_V, WITHIN = 0.05, 20
"""A sensor that changes by so many volts in twice so many rows moves: 8 times its noise and resolution."""


def with_volts(run: RunData) -> RunData:
    """Return a run of a bench with few signals with volts at its outputs, any other run as it is.

    While the bridge drives they are drive times supply, less what current loses in shunt and modules; output
    B is the zero of them. While it does not they are 0 as long as the sensor, where there is one, stands
    still. They are unknown while it moves: a motor then makes volts of its own. A row's drive is that of the
    millisecond to come, its readings are those of the last. How far the volts are off is in
    :mod:`strokebench.bench.budget`.
    """
    board = str((run.info.get("identity") or {}).get("board", ""))
    if not few_of(board) or not len(run.samples):
        return run
    rows = run.samples.copy()
    drive = np.concatenate(([0.0], rows["drive"][:-1]))
    drive = np.where(np.diff(rows["time_s"], prepend=-1.0) < 1.5 * TICK_S, drive, rows["drive"])
    volts = drive * rows["supply_v"] - OUTPUT_OHM * rows["current_a"]
    idle = np.where(_moves(rows["sensor_a_v"]), np.nan, 0.0)
    rows["output_a_v"] = np.where(drive != 0.0, volts, idle)
    rows["output_b_v"] = 0.0
    return replace(run, samples=rows)


def _moves(sensor_v: Floats) -> NDArray[np.bool_]:
    """Where a sensor moves; nowhere without one. An open input reads noise, and has no motion either."""
    ends = np.pad(sensor_v, WITHIN, mode="edge")
    moved: NDArray[np.bool_] = np.abs(ends[2 * WITHIN :] - ends[: -2 * WITHIN]) > MOVES_V
    return moved

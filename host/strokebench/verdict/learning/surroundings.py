"""What was around a part while it was measured: its supply and its temperature."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from strokebench.data.run import RunData
from strokebench.diagnose.stats import Floats

FIRST_S = 0.3
"""Stretch at the start of a recording, before anything is driven for long."""


@dataclass(frozen=True)
class Surroundings:
    """Supply without load, V, and temperature of the part before the run, C; NaN where it was not seen."""

    supply_v: float = math.nan
    part_c: float = math.nan


def surroundings_of(run: RunData) -> Surroundings:
    """Return supply and temperature at the start of a recording.

    Temperature: of the sensor at the part, else what the run notes as ambient.
    """
    rows = run.samples[: int(np.searchsorted(run.samples["time_s"], FIRST_S))]
    still = rows[np.abs(np.nan_to_num(rows["drive"])) < 1e-9] if len(rows) else rows
    part_c = _median(rows["part_c"], -45.0, 200.0)
    noted = run.info.get("ambient_c")
    if math.isnan(part_c) and isinstance(noted, (int, float)):
        part_c = float(noted)
    return Surroundings(_median(still["supply_v"], 1.0, 60.0), part_c)


def _median(values: Floats, low: float, high: float) -> float:
    usable = values[np.isfinite(values) & (values > low) & (values < high)]
    return float(np.median(usable)) if len(usable) else math.nan

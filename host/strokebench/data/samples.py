"""The one definition of a sample on the host: a row per control tick, in SI units.

Columns and order are the same in the library, in exports and in imported files.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

TICK_S = 0.001
"""The bench's control tick; a sample is a row of it."""
DRIVE_ONE = 10_000
"""Full drive in steps of the wire."""

READINGS: tuple[str, ...] = (
    "current_a", "supply_v", "output_a_v", "output_b_v", "sensor_a_v", "sensor_b_v", "heatsink_c", "part_c",
)  # fmt: skip
"""The columns that a converter reads: each has an accuracy."""

COLUMNS: tuple[str, ...] = ("time_s", "drive", *READINGS, "state", "fault")

SAMPLE_DTYPE = np.dtype([(name, "u1" if name in ("state", "fault") else "f8") for name in COLUMNS])
"""Structured dtype of a sample: float64 everywhere except ``state`` and ``fault`` (uint8 codes)."""

Samples = NDArray[np.void]
"""A one-dimensional array of :data:`SAMPLE_DTYPE`, time ascending."""


def empty(count: int = 0) -> Samples:
    """Return ``count`` samples, floats NaN, codes 0."""
    rows = np.zeros(count, SAMPLE_DTYPE)
    for name in COLUMNS[:-2]:
        rows[name] = np.nan
    return rows

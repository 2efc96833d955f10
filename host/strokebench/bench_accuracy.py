"""How far a bench's readings may be off, by sample column, as a recording carries it."""

from __future__ import annotations

import math

from strokebench.budget import channel_of, default_budget

CALIBRATED_GAIN = 0.003
"""Relative standard uncertainty left by calibrating against a 0.5 % meter (rectangular: 0.5 % / sqrt 3)."""
COLUMNS = (
    "current_a",
    "supply_v",
    "output_a_v",
    "output_b_v",
    "sensor_a_v",
    "sensor_b_v",
    "heatsink_c",
    "part_c",
)


def accuracy(calibrated: bool) -> dict[str, dict[str, float]]:
    """Return ``offset`` (column's unit), ``gain`` (relative) and ``noise`` (unit), standard uncertainties.

    Linearity is counted into the offset.  After calibration the offset is what linearity leaves.
    """
    budget = default_budget()
    table = {}
    for column in COLUMNS:
        channel = channel_of(column, 0.0, budget)
        offset = channel.linearity if calibrated else math.hypot(channel.offset, channel.linearity)
        gain = min(CALIBRATED_GAIN, channel.gain) if calibrated else channel.gain
        table[column] = {"offset": offset, "gain": gain, "noise": channel.noise}
    return table

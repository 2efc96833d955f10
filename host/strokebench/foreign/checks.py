"""Is what a file says plausible? Each problem is one sentence with the line it begins at."""

from __future__ import annotations

import numpy as np

from strokebench.data.samples import Samples
from strokebench.errors import DataError
from strokebench.foreign.columns import MEASURED

SLOWEST_HZ, FASTEST_HZ = 100.0, 500_000.0

# column: (largest plausible magnitude, unit, what it may be instead, factor that would repair it)
PLAUSIBLE = {
    "drive": (1.001, "(fraction of the supply)", "percent", "0.01"),
    "current_a": (200.0, "A", "mA", "0.001"),
    "supply_v": (60.0, "V", "mV", "0.001"),
    "output_a_v": (60.0, "V", "mV", "0.001"),
    "output_b_v": (60.0, "V", "mV", "0.001"),
    "sensor_a_v": (20.0, "V", "mV", "0.001"),
    "sensor_b_v": (20.0, "V", "mV", "0.001"),
    "heatsink_c": (250.0, "degrees C", "tenths", "0.1"),
    "part_c": (250.0, "degrees C", "tenths", "0.1"),
}
"""Beyond these a 12 V bench cannot have measured it (common practice; generous)."""


def check_rows(rows: Samples, lines: list[int], name: str, present: list[str]) -> None:
    """Raise :class:`DataError` for missing numbers, unsorted time, rates and magnitudes out of range.

    ``lines`` are the rows' line numbers in the file, ``present`` the columns the file has.
    """
    for column in present:
        _numbers(rows, lines, name, column)
    if not any(np.isfinite(rows[column]).any() for column in MEASURED):
        raise DataError(
            f"{name} holds no number in {' or '.join(column for column in present if column in MEASURED)}.",
            "Export it with the current, or with a sensor's voltage.",
        )
    _time(rows, lines, name)
    for column in present:
        _magnitude(rows, lines, name, column)


def _numbers(rows: Samples, lines: list[int], name: str, column: str) -> None:
    bad = np.flatnonzero(~np.isfinite(rows[column]))
    if len(bad) == len(rows) and column != "time_s":
        return  # the same as not there
    if len(bad):
        raise DataError(
            f"{name}: {column} is not a number in {len(bad)} of {len(rows)} rows,"
            f" first in line {lines[bad[0]]}.",
            "Remove those rows, or leave the column out.",
        )


def _time(rows: Samples, lines: list[int], name: str) -> None:
    if len(rows) < 2:
        raise DataError(f"{name} holds a single row.", "A recording needs more.")
    step_s = np.diff(rows["time_s"])
    back = np.flatnonzero(step_s <= 0)
    if len(back):
        turns = step_s[back[0]] < 0
        raise DataError(
            f"{name}: time_s {'goes back' if turns else 'stands still'} at line {lines[back[0] + 1]}.",
            "Sort the rows by time." if turns else "Export the time with more digits.",
        )
    rate_hz = 1 / float(np.median(step_s))
    if not SLOWEST_HZ * 0.999 <= rate_hz <= FASTEST_HZ * 1.001:
        raise DataError(
            f"{name}: time_s gives {rate_hz:.4g} rows per second;"
            f" usable are {SLOWEST_HZ:g} to {FASTEST_HZ:g}.",
            "Is the time in ms or us? Scale it, for example --map 'time=\"NAME*0.001\"'.",
        )


def _magnitude(rows: Samples, lines: list[int], name: str, column: str) -> None:
    if column not in PLAUSIBLE:
        return
    most, unit, instead, factor = PLAUSIBLE[column]
    values = np.abs(rows[column])
    if not np.isfinite(values).any():
        return
    worst = int(np.nanargmax(values))
    if values[worst] > most:
        raise DataError(
            f"{name}: {column} reaches {rows[column][worst]:.4g} in line {lines[worst]};"
            f" more than {most:g} {unit} is not plausible.",
            f"Is it in {instead}? Scale it, for example --map '{column}=\"NAME*{factor}\"'.",
        )

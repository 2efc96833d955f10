"""Is what a file says plausible? Each problem is one sentence with the line it begins at."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from strokebench.data.samples import Samples
from strokebench.errors import DataError

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


FEW_REPEATS = 0.01
"""Share of the rows that may repeat the time of the row before (an event of a simulation, a logger's
stumble): the earlier of both is left out."""


class Times:
    """Looks at the time of rows that come in blocks."""

    def __init__(self, name: str) -> None:
        self._name = name
        self._last_s, self._rows, self._repeats = -math.inf, 0, 0
        self._first_repeat = ""
        self.rate_hz = 0.0

    def check(self, rows: Samples, lines: NDArray[np.intp]) -> Samples:
        """Return the rows without those whose time repeats; DataError where time goes back or the rate is
        not usable."""
        if not len(rows):
            return rows
        step_s = np.diff(rows["time_s"], prepend=self._last_s)
        back = np.flatnonzero(step_s < 0)
        if len(back):
            raise DataError(
                f"{self._name}: time_s goes back at line {lines[back[0]]}.", "Sort the rows by time."
            )
        repeats = np.flatnonzero(step_s == 0)
        if len(repeats) and not self._first_repeat:
            self._first_repeat = f"{self._name}: time_s stands still at line {lines[repeats[0]]}."
        self._repeats += len(repeats)
        self._last_s = float(rows["time_s"][-1])
        if not self.rate_hz and len(rows) > 1:
            self._check_rate(rows, step_s[1:], len(repeats))
        self._rows += len(rows)
        return rows if not len(repeats) else np.delete(rows, repeats)

    def _check_rate(self, rows: Samples, step_s: NDArray[np.float64], repeats: int) -> None:
        if repeats > FEW_REPEATS * len(rows):
            self._refuse_repeats(rows)
        rate_hz = 1 / float(np.median(step_s[step_s > 0]))
        if not SLOWEST_HZ * 0.999 <= rate_hz <= FASTEST_HZ * 1.001:
            raise DataError(
                f"{self._name}: time_s gives {rate_hz:.4g} rows per second;"
                f" usable are {SLOWEST_HZ:g} to {FASTEST_HZ:g}.",
                "Is the time in ms or us? Scale it, for example --map 'time=\"NAME*0.001\"'.",
            )
        self.rate_hz = rate_hz

    def _refuse_repeats(self, rows: Samples) -> None:
        span_s = float(rows["time_s"][-1] - rows["time_s"][0])
        every = f' or take it from the rows: time="row*{span_s / (len(rows) - 1):.6g}"' if span_s else ""
        raise DataError(self._first_repeat, f"Export the time with more digits,{every}.".replace(",.", "."))

    def finish(self, rows: int) -> None:
        """Raise DataError for too few rows, or too many whose time repeats."""
        if rows < 2:
            raise DataError(f"{self._name} holds a single row.", "A recording needs more.")
        if self._repeats > FEW_REPEATS * self._rows:
            raise DataError(self._first_repeat, "Export the time with more digits.")


def magnitudes(rows: Samples, lines: NDArray[np.intp], name: str, present: list[str]) -> None:
    """Raise :class:`DataError` for a number that nothing on a 12 V bench can be."""
    for column in present:
        if column in PLAUSIBLE and len(rows):
            _magnitude(rows, lines, name, column)


def _magnitude(rows: Samples, lines: NDArray[np.intp], name: str, column: str) -> None:
    most, unit, instead, factor = PLAUSIBLE[column]
    values = np.abs(rows[column])
    worst = int(np.argmax(values))
    if values[worst] > most:
        raise DataError(
            f"{name}: {column} reaches {rows[column][worst]:.4g} in line {lines[worst]};"
            f" more than {most:g} {unit} is not plausible.",
            f"Is it in {instead}? Scale it, for example --map '{column}=\"NAME*{factor}\"'.",
        )

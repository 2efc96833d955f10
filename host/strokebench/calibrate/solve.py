"""From the readings of one channel to its correction, or a sentence why not."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from strokefw.sensing import calib

from strokebench.calibrate.fit import Line, Point, coverage, fit, fit_zero
from strokebench.calibrate.instrument import Instrument
from strokebench.calibrate.quantities import GAIN_MAX, Quantity
from strokebench.errors import DataError

TRIM_ONE = 32768
SLIP = 100.0
RESIDUAL_MAX = 4.0
"""A residual may be so many times what is known about a point."""
ENDS = 8
"""Counts from either end of the converter's range that are taken for a clipped reading."""


@dataclass(frozen=True)
class Reading:
    """One point: what the reference showed (the channel's unit), the mean of so many scans of the bench in
    counts, and the standard uncertainty of that mean.
    """

    channel: str
    reference: float
    counts: float
    u_counts: float = 0.0
    scans: int = 1


@dataclass(frozen=True)
class Correction:
    """What goes onto the chip for one channel: counts off the ideal zero, trim in 1/32768; and its line."""

    quantity: Quantity
    readings: tuple[Reading, ...]
    instrument: Instrument
    line: Line
    zero: int
    trim: int
    k: float

    def corrected(self, counts: float) -> float:
        """Return counts in the fitted unit as the chip will convert them."""
        q = self.quantity
        return (counts - q.ideal_zero - self.zero) * q.scale * (1 + self.trim / TRIM_ONE)


def solve(quantity: Quantity, readings: Sequence[Reading], instrument: Instrument) -> Correction:
    """Fit one channel; :class:`DataError` says what is implausible about the readings and what to do."""
    ordered = tuple(sorted(readings, key=lambda reading: reading.reference))
    _check_before(quantity, ordered)
    points = _points(quantity, ordered, instrument)
    gain_u, offset_u = _common(quantity, ordered, instrument)
    rounding = (quantity.scale / 12**0.5, 1 / TRIM_ONE / 12**0.5)
    line = fit(
        points,
        common_gain=gain_u,
        common_offset=offset_u,
        curvature=quantity.linearity,
        rounding=rounding,
    )
    _check_after(quantity, points, line)
    if line.u_gain > quantity.gain_u and abs(line.gain - 1) < 3 * math.hypot(line.u_gain, quantity.gain_u):
        line = fit_zero(
            points, quantity.gain_u, common_offset=offset_u, curvature=quantity.linearity, rounding=rounding
        )
    zero, trim = round(line.offset / quantity.scale), round((1 / line.gain - 1) * TRIM_ONE)
    if abs(zero) > calib.ZERO_MAX:
        raise _refuse(
            quantity, f"the zero is off by {line.offset:.3g} {quantity.fitted_unit}", "Find out why."
        )
    return Correction(quantity, ordered, instrument, line, zero, trim, coverage(line))


def _points(quantity: Quantity, readings: Sequence[Reading], instrument: Instrument) -> list[Point]:
    points = [
        Point(
            quantity.linear(reading.reference),
            quantity.nominal(reading.counts),
            _slope(quantity, reading.reference) * instrument.u_reading,
            reading.u_counts * quantity.scale,
        )
        for reading in readings
    ]
    if quantity.zero_u:
        points.insert(0, Point(0.0, 0.0, 0.0, quantity.zero_u))
    return points


def _slope(quantity: Quantity, at: float) -> float:
    step = 1e-4 * max(abs(at), 1.0)
    return (quantity.linear(at + step) - quantity.linear(at - step)) / (2 * step)


def _common(quantity: Quantity, readings: Sequence[Reading], instrument: Instrument) -> tuple[float, float]:
    """Return what all points share: (relative gain, offset). A bent scale takes the worst as an offset."""
    if not quantity.shown:
        return instrument.u_gain, instrument.u_offset
    worst = max(
        _slope(quantity, reading.reference)
        * math.hypot(instrument.u_gain * reading.reference, instrument.u_offset)
        for reading in readings
    )
    return 0.0, worst


def _refuse(quantity: Quantity, why: str, hint: str) -> DataError:
    return DataError(f"The readings of {quantity.name} are refused: {why}.", hint)


def check_point(quantity: Quantity, reading: Reading) -> None:
    """Refuse a reading that is nonsense by itself: clipped, a slip of the unit, the wrong sign."""
    unit = quantity.unit
    if not ENDS <= reading.counts <= 65520 - ENDS:
        raise _refuse(
            quantity, f"at {reading.reference:g} {unit} the bench's reading is at the end of its range",
            "Choose a point inside the range.",
        )  # fmt: skip
    y, r = quantity.linear(reading.reference), quantity.nominal(reading.counts)
    small = 0.02 * quantity.span_least
    if max(abs(y), abs(r)) < 5 * small:
        return
    if not small < abs(y) < SLIP * max(abs(r), small) or abs(r) > SLIP * abs(y):
        raise _refuse(
            quantity, f"the reference says {reading.reference:g} {unit} where the bench sees about {r:.3g}",
            "A slip of the unit (mA for A, kOhm for Ohm), or the source is not on this channel.",
        )  # fmt: skip
    if y * r < 0 and min(abs(y), abs(r)) > 5 * small:
        raise _refuse(
            quantity, f"at {reading.reference:g} {unit} the bench sees the other sign ({r:.3g})",
            "Positive current leaves output A; swap the wires or the sign.",
        )  # fmt: skip


def _check_before(quantity: Quantity, readings: Sequence[Reading]) -> None:
    for reading in readings:
        check_point(quantity, reading)
    need = 1 if quantity.zero_u else 2
    values = sorted(quantity.linear(reading.reference) for reading in readings)
    apart = 0.05 * quantity.span_least
    distinct = [v for i, v in enumerate(values) if i == 0 or v - values[i - 1] > apart]
    if len(distinct) < need:
        raise _refuse(quantity, f"{len(distinct)} different points are too few", f"Take {need} or more.")
    low = 0.0 if quantity.zero_u else values[0]
    if values[-1] - low < quantity.span_least * (1 - 1e-6):
        least = f"{quantity.span_least:g} {quantity.fitted_unit}"
        raise _refuse(
            quantity, f"they span {values[-1] - low:.3g} of at least {least}", "Take points further apart."
        )


def _check_after(quantity: Quantity, points: Sequence[Point], line: Line) -> None:
    off = line.gain - 1
    if abs(off) > GAIN_MAX:
        raise _refuse(
            quantity, f"the gain is off by {100 * off:+.1f} %, more than {100 * GAIN_MAX:g} %",
            "A wrong shunt or divider resistor, a wrong range of the reference, or a source elsewhere.",
        )  # fmt: skip
    for point, residual in zip(points, line.residuals, strict=True):
        allowed = RESIDUAL_MAX * math.hypot(quantity.linearity, point.u_y, point.u_r)
        if abs(residual) > allowed:
            raise _refuse(
                quantity,
                f"the point at {point.y:.4g} lies {residual:+.3g} {quantity.fitted_unit} off the line"
                f" through all (allowed {allowed:.2g})",
                "Repeat that point; wait until the source is steady.",
            )

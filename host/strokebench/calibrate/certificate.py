"""What a certificate says about each channel; :mod:`strokebench.bench.certificates` keeps it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from strokebench.calibrate.record import reading

if TYPE_CHECKING:
    from strokebench.calibrate.solve import Correction


def channel_entry(
    correction: Correction, old_record: bytes, number: int, day: str, person: str
) -> dict[str, Any]:
    """Return what a certificate says about one channel."""
    q, line = correction.quantity, correction.line
    return {
        "unit": q.unit,
        "fitted_unit": q.fitted_unit,
        "calibration": number,
        "date": day,
        "person": person,
        "instrument": correction.instrument.model_dump(),
        "zero_counts": correction.zero,
        "trim": correction.trim,
        "offset": line.offset,
        "gain": line.gain,
        "u_offset": line.u_offset,
        "u_gain": line.u_gain,
        "covariance": line.covariance,
        "scatter": line.scatter,
        "linearity": q.linearity,
        "k": correction.k,
        "points": _points(correction, old_record),
        "parts": [{"source": name, "offset": a, "gain": b} for name, a, b in line.parts],
    }


def _points(correction: Correction, old_record: bytes) -> list[dict[str, float]]:
    points = []
    for taken in correction.readings:
        y = correction.quantity.linear(taken.reference)
        points.append(
            {
                "reference": taken.reference,
                "value": y,
                "error_before": reading(old_record, correction, taken.counts) - y,
                "error_after": correction.corrected(taken.counts) - y,
                "u": correction.line.u(y),
                "scans": taken.scans,
            }
        )
    return points

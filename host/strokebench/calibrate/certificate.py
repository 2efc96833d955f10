"""The full record of a calibration on the host: a JSON file by bench and calibration identity.

The chip keeps the numbers, the day and a short note; what the uncertainty was made of is here.
"""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from strokebench.calibrate.solve import Correction

FOLDER = "strokebench-calibrations"
Certificate = dict[str, Any]


def folder() -> Path:
    """Return where certificates are kept: $STROKEBENCH_CALIBRATIONS, else a folder in the current one."""
    return Path(os.environ.get("STROKEBENCH_CALIBRATIONS") or FOLDER)


def file_for(uid: str, number: int, where: Path | None = None) -> Path:
    """Return the file of a bench's calibration ``number`` (its identity as told at the handshake)."""
    return (folder() if where is None else where) / f"{uid}-{number:08x}.json"


def find(uid: str, number: int, where: Path | None = None) -> Certificate | None:
    """Return a certificate, None when there is no readable one here."""
    if not number:
        return None
    try:
        data: Certificate = json.loads(file_for(uid, number, where).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None
    fits = isinstance(data, dict) and data.get("uid") == uid and data.get("number") == number
    return data if fits and isinstance(data.get("channels"), dict) else None


def channel_entry(one: Correction, old_record: bytes, number: int, day: str, person: str) -> dict[str, Any]:
    """Return what a certificate says about one channel."""
    q, line = one.quantity, one.line
    return {
        "unit": q.unit,
        "fitted_unit": q.fitted_unit,
        "calibration": number,
        "date": day,
        "person": person,
        "instrument": one.instrument.model_dump(),
        "zero_counts": one.zero,
        "trim": one.trim,
        "offset": line.offset,
        "gain": line.gain,
        "u_offset": line.u_offset,
        "u_gain": line.u_gain,
        "covariance": line.covariance,
        "scatter": line.scatter,
        "linearity": q.linearity,
        "k": one.k,
        "points": _points(one, old_record),
        "parts": [{"source": name, "offset": a, "gain": b} for name, a, b in line.parts],
    }


def _points(one: Correction, old_record: bytes) -> list[dict[str, float]]:
    from strokebench.calibrate.record import reading

    points = []
    for taken in one.readings:
        y = one.quantity.linear(taken.reference)
        points.append(
            {
                "reference": taken.reference,
                "value": y,
                "error_before": reading(old_record, one, taken.counts) - y,
                "error_after": one.corrected(taken.counts) - y,
                "u": one.line.u(y),
                "scans": taken.scans,
            }
        )
    return points

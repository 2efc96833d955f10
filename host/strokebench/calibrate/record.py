"""The chip's own record of a calibration: numbers, day, and a short note for people."""

from __future__ import annotations

import datetime
from collections.abc import Iterable

from strokefw.sensing import calib

from strokebench.calibrate.solve import Correction

EPOCH = datetime.date(2000, 1, 1)


def note(person: str, instruments: Iterable[str]) -> bytes:
    """Return who and against what, cut at a whole character to what the chip takes."""
    text = f"{person}; {', '.join(instruments)}".encode()[: calib.NOTE_BYTES]
    return text.decode("utf-8", "ignore").encode()


def build(
    corrections: Iterable[Correction],
    before: bytes,
    day: datetime.date,
    person: str,
    instruments: Iterable[str],
) -> bytes:
    """Return a new record: ``before`` with the corrected channels replaced (empty: an uncalibrated bench)."""
    state = calib.Calibration()
    if before:
        state.use(before)
    for correction in corrections:
        for channel in (correction.quantity.index, *correction.quantity.also):
            state.zero[channel] = calib.ideal_zero(channel) + correction.zero
            state.trim[channel] = correction.trim
    state.day = (day - EPOCH).days
    state.note = note(person, instruments)
    data: bytes = state.record()
    return data


def identity(record: bytes) -> int:
    """Return a record's identity, as the bench tells it at the handshake."""
    return int(calib.parse(record)[3])


def reading(record: bytes, correction: Correction, counts: float) -> float:
    """Return counts in the fitted unit as a bench with ``record`` in force converts them."""
    q = correction.quantity
    zeros, trims = calib.parse(record)[:2] if record else ([0] * 13, [0] * 13)
    zero, trim = zeros[q.index], trims[q.index]
    return float((counts - q.ideal_zero - zero) * q.scale * (1 + trim / 32768))

"""Samples as differences of whole numbers: exact to what the bench sent, a few bytes a row.

A column is kept as the numbers that travelled (ms, mA, mV, 0.1 C, 1/10000), as differences from row to row.
Rows that are not on that grid (made by a program, or read from elsewhere) do not fit; `pack` then says so.
"""

from __future__ import annotations

import zlib
from typing import Any

import numpy as np
from numpy.typing import NDArray
from strokefw.sensing.sense import NO_READING

from strokebench.data.samples import COLUMNS, DRIVE_ONE, SAMPLE_DTYPE, TICK_S, Samples

MARK = b"\x02"
"""First byte of such a blob; the older kind of blob begins with zlib's 0x78."""
PER_UNIT = {"drive": DRIVE_ONE, "heatsink_c": 10, "part_c": 10, "state": 1, "fault": 1}
"""Steps of the wire in one unit; 1000 for A and V."""
WIDTHS: tuple[np.dtype[Any], ...] = (np.dtype("i1"), np.dtype("<i2"), np.dtype("<i4"), np.dtype("<i8"))
MOST = 2**53
LEVEL = 6

Whole = NDArray[np.int64]


def pack(rows: Samples) -> bytes | None:
    """Return ``rows`` as a blob, None when a value is not exactly what the bench could have sent."""
    widths, firsts, pieces = bytearray(), [], []
    for name in COLUMNS:
        numbers = _whole(name, rows[name])
        if numbers is None:
            return None
        steps = np.diff(numbers)
        if name == "time_s":
            steps = np.diff(steps, prepend=np.int64(0))  # a row a tick: all zero but the first
        width = _width(steps)
        widths.append(width)
        firsts.append(numbers[0])
        pieces.append(_planes(steps, WIDTHS[width]))
    head = bytes(widths) + np.array(firsts, "<i8").tobytes()
    return MARK + zlib.compress(head + b"".join(pieces), LEVEL)


def unpack(data: bytes, count: int) -> Samples | None:
    """Return the ``count`` rows in a blob that was inflated already; None when they cannot be in it."""
    head = 9 * len(COLUMNS)
    if count < 1 or len(data) < head or max(data[: len(COLUMNS)]) >= len(WIDTHS):
        return None
    widths = [WIDTHS[code] for code in data[: len(COLUMNS)]]
    firsts = np.frombuffer(data, "<i8", len(COLUMNS), len(COLUMNS))
    if len(data) != head + (count - 1) * sum(width.itemsize for width in widths):
        return None
    rows: Samples = np.empty(count, SAMPLE_DTYPE)
    at = head
    for name, width, first in zip(COLUMNS, widths, firsts, strict=True):
        size = (count - 1) * width.itemsize
        steps = _from_planes(data[at : at + size], width)
        at += size
        if name == "time_s":
            steps = np.cumsum(steps)
        numbers = np.cumsum(np.concatenate(([first], steps)))
        rows[name] = _values(name, numbers)
    return rows


def most_bytes(count: int) -> int:
    """Return how large the inflated blob of ``count`` rows can be."""
    return 9 * len(COLUMNS) + 8 * len(COLUMNS) * count


def _whole(name: str, values: NDArray[np.generic]) -> Whole | None:
    """Return a column in steps of the wire; None when turning them back would not give the same bits."""
    numbers = values.astype(np.float64)
    with np.errstate(invalid="ignore"):
        steps = np.rint(numbers / TICK_S if name == "time_s" else numbers * PER_UNIT.get(name, 1000))
    if name.endswith("_c"):
        steps = np.where(np.isnan(steps), NO_READING, steps)
    if not np.all(np.abs(steps) < MOST):  # NaN is not smaller either
        return None
    whole: Whole = steps.astype(np.int64)
    same = _values(name, whole).tobytes() == np.ascontiguousarray(values).tobytes()
    return whole if same else None


def _values(name: str, numbers: Whole) -> NDArray[np.generic]:
    """Return a column's values as the link makes them of the same numbers."""
    if name in ("state", "fault"):
        return numbers.astype("u1")
    if name == "time_s":
        return numbers * TICK_S
    values = numbers / PER_UNIT.get(name, 1000)
    return np.where(numbers == NO_READING, np.nan, values) if name.endswith("_c") else values


def _width(steps: Whole) -> int:
    most = max((int(steps.max()), -1 - int(steps.min()))) if len(steps) else 0
    return next(code for code, kind in enumerate(WIDTHS) if most < 1 << 8 * kind.itemsize - 1)


def _planes(steps: Whole, width: np.dtype[Any]) -> bytes:
    """Return the low bytes of all steps, then the next: like beside like compresses better."""
    return steps.astype(width).view("u1").reshape(len(steps), width.itemsize).T.tobytes()


def _from_planes(data: bytes, width: np.dtype[Any]) -> Whole:
    planes = np.frombuffer(data, "u1").reshape(width.itemsize, -1).T
    return np.ascontiguousarray(planes).view(width).ravel().astype(np.int64)

"""Samples and bursts as compressed columns: exact, about a quarter of the size."""

from __future__ import annotations

import json
import zlib
from typing import Any

import numpy as np
from numpy.typing import NDArray

from strokebench.data.samples import COLUMNS, SAMPLE_DTYPE, Samples
from strokebench.errors import BookError


def pack_samples(rows: Samples) -> bytes:
    """Return the columns of ``rows`` one after the other, compressed."""
    return zlib.compress(b"".join(np.ascontiguousarray(rows[name]).tobytes() for name in COLUMNS), 1)


def unpack_samples(blob: bytes, count: int) -> Samples:
    """Return what :func:`pack_samples` packed; :class:`BookError` when the blob is damaged."""
    data = _inflate(blob)
    if len(data) != count * SAMPLE_DTYPE.itemsize:
        raise BookError("A batch of samples in the job book is damaged.", "Restore the book from a backup.")
    rows: Samples = np.empty(count, SAMPLE_DTYPE)
    start = 0
    for name in COLUMNS:
        kind = SAMPLE_DTYPE[name]
        rows[name] = np.frombuffer(data, kind, count, start)
        start += kind.itemsize * count
    return rows


def pack_floats(values: NDArray[np.float64]) -> bytes:
    """Return ``values`` as compressed little-endian float64."""
    return zlib.compress(np.ascontiguousarray(values, "<f8").tobytes(), 1)


def unpack_floats(blob: bytes) -> NDArray[np.float64]:
    """Return what :func:`pack_floats` packed."""
    return np.frombuffer(_inflate(blob), "<f8").copy()


def _inflate(blob: bytes) -> bytes:
    try:
        return zlib.decompress(blob)
    except zlib.error:
        raise BookError("A piece of the job book is damaged.", "Restore the book from a backup.") from None


def to_json(value: Any) -> str:
    """Return ``value`` as JSON; arrays become lists, what JSON does not know becomes its text."""
    return json.dumps(value, default=_plain, ensure_ascii=False)


def _plain(value: Any) -> Any:
    return value.tolist() if isinstance(value, (np.ndarray, np.generic)) else str(value)

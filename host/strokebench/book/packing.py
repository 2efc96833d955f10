"""Samples and bursts as compressed blobs, and back again with bounds on what a blob may become."""

from __future__ import annotations

import zlib
from typing import Any

import numpy as np
from numpy.typing import NDArray

from strokebench.book import deltas
from strokebench.data.samples import COLUMNS, SAMPLE_DTYPE, Samples
from strokebench.errors import BookError

MOST_ROWS = 100_000
"""Rows in a batch at most: a hundred thousand times what a run writes into one would still be read."""
MOST_BURST_BYTES = 64 * 1024 * 1024


def pack_samples(rows: Samples) -> bytes:
    """Return ``rows`` as a blob: as differences in steps of the wire, else (not on that grid) as float64."""
    blob = deltas.pack(rows) if len(rows) else None
    if blob is not None:
        return blob
    return zlib.compress(b"".join(np.ascontiguousarray(rows[name]).tobytes() for name in COLUMNS), 1)


def unpack_samples(blob: Any, count: Any) -> Samples:
    """Return what :func:`pack_samples` packed; :class:`BookError` when the blob is damaged."""
    if not isinstance(blob, bytes) or not isinstance(count, int) or not 0 <= count <= MOST_ROWS:
        raise _damaged()
    if blob[:1] == deltas.MARK:
        rows = deltas.unpack(_inflate(blob[1:], deltas.most_bytes(count)), count)
        if rows is None:
            raise _damaged()
        return rows
    data = _inflate(blob, count * SAMPLE_DTYPE.itemsize)
    if len(data) != count * SAMPLE_DTYPE.itemsize:
        raise _damaged()
    rows = np.empty(count, SAMPLE_DTYPE)
    start = 0
    for name in COLUMNS:
        kind = SAMPLE_DTYPE[name]
        rows[name] = np.frombuffer(data, kind, count, start)
        start += kind.itemsize * count
    return rows


def _damaged() -> BookError:
    return BookError("A batch of samples in the job book is damaged.", "Restore the book from a backup.")


def pack_floats(values: NDArray[np.float64]) -> bytes:
    """Return ``values`` as compressed little-endian float64."""
    return zlib.compress(np.ascontiguousarray(values, "<f8").tobytes(), 1)


def unpack_floats(blob: Any) -> NDArray[np.float64]:
    """Return what :func:`pack_floats` packed; :class:`BookError` when it is damaged."""
    data = _inflate(blob, MOST_BURST_BYTES) if isinstance(blob, bytes) else b"?"
    if len(data) % 8:
        raise BookError("A fast capture in the job book is damaged.", "Restore the book from a backup.")
    return np.frombuffer(data, "<f8").copy()


def _inflate(blob: bytes, most: int) -> bytes:
    """Return the inflated blob; :class:`BookError` when it is damaged or larger than ``most`` bytes."""
    inflater = zlib.decompressobj()
    try:
        data = inflater.decompress(blob, most + 1)
    except zlib.error:
        data = b""
    if not inflater.eof or len(data) > most:
        raise BookError("A piece of the job book is damaged.", "Restore the book from a backup.")
    return data

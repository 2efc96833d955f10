"""What shows that a recording is as it was written: a chain of digests, and sums that find a byte.

A digest shows that something changed; three sums over the bytes show where, as long as it was one byte.
There is no secret in it: see docs/explanation/evidence.md for what that can prove and what not.
"""

from __future__ import annotations

import hashlib
import struct
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from strokebench.book.typed import to_json

if TYPE_CHECKING:
    import numpy as np

PRIME = 2**31 - 1
_SUMS = struct.Struct("<4I")
START = b"strokebench run\n"
"""What the first link of every chain follows."""

Part = tuple[str, bytes]
"""A piece of an item: what a person calls it, and its bytes."""


@dataclass(frozen=True)
class Item:
    """One thing in a chain: ``what`` it is, and its parts in order."""

    what: str
    parts: Sequence[Part]

    def digest(self) -> bytes:
        """Return SHA-256 over names, lengths and bytes of all parts (FIPS 180-4)."""
        found = hashlib.sha256(self.what.encode())
        for name, data in self.parts:
            found.update(struct.pack("<II", len(name), len(data)))
            found.update(name.encode())
            found.update(data)
        return found.digest()

    def sums(self) -> bytes:
        """Return length and three sums of each part, in order."""
        return b"".join(_SUMS.pack(len(data), *_sums(data)) for _, data in self.parts)


def link(before: bytes, digest: bytes) -> bytes:
    """Return the link that follows ``before`` when an item with ``digest`` is added."""
    return hashlib.sha256(before + digest).digest()


def field(value: Any) -> bytes:
    """Return a database value as bytes, the same for the same value on every computer."""
    if isinstance(value, bytes):
        return value
    return value.encode() if isinstance(value, str) else to_json(value).encode()


def differences(item: Item, sums: bytes) -> list[str]:
    """Return where ``item`` differs from what ``sums`` were taken of, a phrase for each altered part."""
    size = _SUMS.size
    kept = [_SUMS.unpack_from(sums, at) for at in range(0, len(sums) - size + 1, size)]
    found = [
        f"{name}: {place}"
        for (name, data), (length, *old) in zip(item.parts, kept, strict=False)
        if (place := _place(data, length, old))
    ]
    if len(kept) != len(item.parts):
        found.append(f"{len(item.parts)} entries where {len(kept)} were written")
    return found


def _place(data: bytes, length: int, old: Sequence[int]) -> str:
    if len(data) != length:
        return f"{len(data)} bytes where {length} were written"
    d0, d1, d2 = ((new - then) % PRIME for new, then in zip(_sums(data), old, strict=True))
    if not d0 | d1 | d2:
        return ""
    at = d1 * pow(d0, -1, PRIME) % PRIME if d0 else 0
    if d0 and 1 <= at <= length and at * at % PRIME * d0 % PRIME == d2:
        return f"byte {at} of {length} is altered"
    return "several bytes are altered"


def _sums(data: bytes) -> tuple[int, int, int]:
    """Return the sums of the bytes b: of b, of place times b, of place squared times b; places from 1."""
    import numpy as np  # here: whoever only looks into a book waits for it in vain

    values = np.frombuffer(data, "u1").astype(np.uint64)
    place = np.arange(1, len(data) + 1, dtype=np.uint64)
    prime = np.uint64(PRIME)
    square = place * place % prime
    return (
        int(values.sum()) % PRIME,
        sum(int(piece.sum()) for piece in _pieces(values * place)) % PRIME,
        sum(int(piece.sum()) for piece in _pieces(values * square)) % PRIME,
    )


def _pieces(products: np.ndarray[Any, np.dtype[np.uint64]]) -> list[np.ndarray[Any, np.dtype[np.uint64]]]:
    """Split so that no sum of products below 2^40 can pass 2^64."""
    import numpy as np

    return np.array_split(products, len(products) // 2**24 + 1)

"""Pseudonyms of a workshop: keyed digests of benches, parts and runs, by a key that the workshop keeps.

Whoever has the key can find a bench or a part again in the lake; nobody else can, and nobody can try serial
numbers one after the other. The same key gives the same pseudonyms in all books of a workshop.
"""

from __future__ import annotations

import hashlib
import os
import secrets
from dataclasses import dataclass
from pathlib import Path

from strokebench.errors import BookError, UsageError

KEY_BYTES = 32


@dataclass(frozen=True)
class Pseudonyms:
    """What gives pseudonyms by one key (BLAKE2b keyed, RFC 7693), each kind of name apart from the others."""

    key: bytes

    @property
    def shop(self) -> str:
        """The workshop's own."""
        return self._of("shop", "", 8)

    def bench(self, uid: str) -> str:
        """Of a bench, empty where it has no identity."""
        return self._of("bench", uid, 8) if uid else ""

    def specimen(self, part: str, serial: str) -> str:
        """Of one part by its serial number, empty without one."""
        return self._of("specimen", f"{part}\n{serial}", 8) if serial else ""

    def run(self, uid: str) -> str:
        """Of a recording: so long that two of a million million runs hardly ever share it."""
        return self._of("run", uid, 16)

    def calibration(self, bench: str, number: str) -> str:
        """Of a bench's calibration."""
        return self._of("calibration", f"{bench}\n{number}", 8) if number not in ("", "0") else ""

    def _of(self, kind: str, text: str, size: int) -> str:
        return hashlib.blake2b(
            text.encode(), key=self.key, person=kind.encode(), digest_size=size
        ).hexdigest()


def load_key(path: str | Path) -> Pseudonyms:
    """Return the pseudonyms of the key in a file; a new key is made where there is no file.

    Raises :class:`BookError` when it cannot be read or written, UsageError when it is no key.
    """
    file = Path(path)
    try:
        if not file.exists():
            _make(file)
        text = file.read_text(encoding="ascii").strip()
        key = bytes.fromhex(text)
    except OSError as error:
        raise BookError(
            f"The key {file} cannot be used: {error.strerror}.", "Choose another place."
        ) from None
    except ValueError:
        key = b""
    if len(key) != KEY_BYTES:
        raise UsageError(f"{file} is no key of a workshop.", "Name the file that `lake put` made.")
    return Pseudonyms(key)


def _make(file: Path) -> None:
    """Make a key that only this user may read."""
    handle = os.open(file, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(handle, "w", encoding="ascii") as out:
        out.write(secrets.token_bytes(KEY_BYTES).hex() + "\n")

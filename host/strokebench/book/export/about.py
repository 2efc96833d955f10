"""What a recording belongs to, for those who get it in another program's format: see :func:`about`."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Callable
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from strokebench.book.typed import to_json
from strokebench.data.identity import identity_of
from strokebench.errors import BookError

if TYPE_CHECKING:
    from strokebench.book.book import Book
    from strokebench.data.run import RunData

Named = Callable[[str], str]
"""What turns a customer or serial number into what is exported."""
FROM_INFO = ("engine", "identity", "fault", "lost_rows", "lost_messages", "bad_frames", "refused_frames")
FROM_RUN = ("run_id", "started_at", "part", "kind", "outcome", "verdict", "seal", "sealed_at")


def about(book: Book, run: RunData, *, names: bool = True) -> dict[str, Any]:
    """Return a run's bench, limits, findings and verdict, in what JSON knows (None where a number is NaN).

    With these and the rows a verdict can be worked out again: ``accuracy`` and ``identity`` say what the
    bench can do, ``profile`` has procedure and limits. Profile or findings that cannot be read are None.
    ``names``: with customer, serial number, note and answers; else the former are pseudonyms and the latter
    left out.
    """
    info, run_id = run.info, run.info["run_id"]
    identity = identity_of(info)
    named = naming(book, names)
    found = {
        "run": info["uid"],
        "bench": str(identity.get("uid", "")),
        "firmware": str(identity.get("firmware", "")),
        "calibration": str(identity.get("calibration_id", "")),
        "names": names,
        "part_serial": named(info["part_serial"]),
        "customer": named(info["customer"]),
        **{name: info[name] for name in FROM_RUN},
        **{name: info[name] for name in FROM_INFO if name in info},
        **({"note": info["note"], "answers": info.get("answers", [])} if names else {}),
        "damaged": info.get("damaged", []),
        "accuracy": run.accuracy,
        "profile": _readable(lambda: book.profile(run_id)),
        "findings": _readable(lambda: [_finding(asdict(each)) for each in book.findings(run_id)]),
        "marks": [asdict(mark) for mark in run.marks],
        "events": [asdict(event) for event in run.events],
    }
    plain: dict[str, Any] = _finite(json.loads(to_json(found)))
    return plain


def as_text(found: dict[str, Any]) -> str:
    """Return what :func:`about` gave as a text to be read by people too."""
    return json.dumps(found, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def naming(book: Book, names: bool) -> Named:
    """Return what leaves every name as it is, or what gives every name its pseudonym in this book."""
    return str if names else pseudonyms(book.salt())


def pseudonyms(salt: bytes) -> Named:
    """Return what gives every name its pseudonym: a keyed digest (BLAKE2b, RFC 7693), empty for none."""

    def named(text: str) -> str:
        return hashlib.blake2b(text.encode(), key=salt, digest_size=8).hexdigest() if text else ""

    return named


def _readable(read: Callable[[], Any]) -> Any:
    try:
        return read()
    except BookError:
        return None


def _finding(values: dict[str, Any]) -> dict[str, Any]:
    return {**values, "verdict": values["verdict"].value}


def _finite(value: Any) -> Any:
    """Return ``value`` with None for each number that JSON does not have."""
    if isinstance(value, dict):
        return {name: _finite(each) for name, each in value.items()}
    if isinstance(value, list):
        return [_finite(each) for each in value]
    return None if isinstance(value, float) and not math.isfinite(value) else value

"""The chains of a run: what is sealed, in which order, and how that is done while it is recorded.

The *record* strand: the head (part, customer, profile with its limits and procedure, accuracy), each batch
of samples, then marks, events, bursts and the end. The *words* strand starts from the head as well and may
grow for years: what is known about the bench, notes, judgements. A judgement's seal includes the record's
last link, so it belongs to that recording and to no other.
"""

from __future__ import annotations

import sqlite3
import struct
from collections.abc import Callable, Sequence
from typing import Any

from strokebench.book import seal, typed
from strokebench.book.seal import Item, Part

RECORD, WORDS = "record", "words"
AT_THE_END = ("marks", "events", "bursts", "end")
"""What closes the record strand, in this order."""


def head(connection: sqlite3.Connection, run_id: int) -> Item:
    """Return what was said of the run before it began."""
    names = ("uid", "started_at", "part", "kind", "part_serial", "customer", "writer", "accuracy", "profile")
    return _columns(connection, run_id, "head", names)


def batch(number: int, first_s: float, last_s: float, count: int, blob: bytes) -> Item:
    """Return one batch of samples; BookError when one of its numbers is none."""
    try:
        numbers = struct.pack("<qqdd", number, count, first_s, last_s)
    except struct.error:
        raise typed.damaged("a number of a batch") from None
    return Item("batch", [("numbers", numbers), ("rows", blob)])


def marks(connection: sqlite3.Connection, run_id: int) -> Item:
    """Return the segments as they ran."""
    query = "SELECT number, label, kind, start_s, end_s FROM marks WHERE run_id = ? ORDER BY number"
    return _rows(connection, run_id, "marks", query, "segment")


def events(connection: sqlite3.Connection, run_id: int) -> Item:
    """Return what the bench said."""
    query = "SELECT time_s, kind, code, text FROM events WHERE run_id = ? ORDER BY id"
    return _rows(connection, run_id, "events", query, "event")


def bursts(connection: sqlite3.Connection, run_id: int) -> Item:
    """Return the fast captures."""
    query = """SELECT channel, unit, rate_hz, start_s, label, numbers FROM bursts
        WHERE run_id = ? ORDER BY id"""
    return _rows(connection, run_id, "bursts", query, "burst")


def end(connection: sqlite3.Connection, run_id: int) -> Item:
    """Return how the recording ended."""
    return _columns(connection, run_id, "end", ("outcome", "ended_at", "samples", "first_s", "last_s"))


def info(connection: sqlite3.Connection, run_id: int) -> Item:
    """Return what is known about bench and conditions."""
    return _columns(connection, run_id, "info", ("info",))


def note(connection: sqlite3.Connection, run_id: int) -> Item:
    """Return the note as it stands."""
    return _columns(connection, run_id, "note", ("note",))


def judgement(connection: sqlite3.Connection, run_id: int) -> Item:
    """Return verdict and findings, and the recording that they are about."""
    query = """SELECT key, title, value, u, unit, lower, upper, verdict, reason, span_start_s, span_end_s,
        place, fault, evidence FROM findings WHERE run_id = ? ORDER BY id"""
    found = _rows(connection, run_id, "judgement", query, "finding", named=True)
    first = _columns(connection, run_id, "judgement", ("verdict",))
    return Item("judgement", [*first.parts, ("recording", last_link(connection, run_id)), *found.parts])


BUILDERS: dict[str, Callable[[sqlite3.Connection, int], Item]] = {
    "head": head, "marks": marks, "events": events, "bursts": bursts, "end": end, "info": info, "note": note,
    "judgement": judgement,
}  # fmt: skip
"""Each thing that is sealed but the batches, which carry their seals themselves."""


def last_link(connection: sqlite3.Connection, run_id: int) -> bytes:
    """Return the newest link of the record strand; the start when there is none."""
    for query in (
        f"SELECT link FROM seals WHERE run_id = ? AND strand = '{RECORD}' AND what = 'end'",
        "SELECT link FROM batches WHERE run_id = ? ORDER BY number DESC LIMIT 1",
        f"SELECT link FROM seals WHERE run_id = ? AND strand = '{RECORD}' AND what = 'head'",
    ):
        row = connection.execute(query, (run_id,)).fetchone()
        if row is not None:
            return _link(row[0])
    return seal.START


def words_link(connection: sqlite3.Connection, run_id: int) -> bytes:
    """Return the newest link of the words strand, the head's when it has none yet."""
    query = f"""SELECT link FROM seals WHERE run_id = ? AND (strand = '{WORDS}' OR what = 'head')
        ORDER BY number DESC LIMIT 1"""
    row = connection.execute(query, (run_id,)).fetchone()
    return seal.START if row is None else _link(row[0])


def _link(value: Any) -> bytes:
    """Return a link from the book; what is none follows nothing, which the check then shows."""
    return value if isinstance(value, bytes) else b""


def add(connection: sqlite3.Connection, run_id: int, strand: str, what: str, before: bytes, at: str) -> bytes:
    """Seal ``what`` as it stands in the book behind the link ``before``; return the new link.

    Belongs into the transaction that changes it.
    """
    item = BUILDERS[what](connection, run_id)
    digest = item.digest()
    new = seal.link(before, digest)
    connection.execute(
        """INSERT INTO seals(run_id, number, strand, what, made_at, digest, sums, link) VALUES (?1,
        (SELECT coalesce(max(number) + 1, 0) FROM seals WHERE run_id = ?1), ?2, ?3, ?4, ?5, ?6, ?7)""",
        (run_id, strand, what, at, digest, item.sums(), new),
    )
    return new


def begin(connection: sqlite3.Connection, run_id: int, at: str) -> bytes:
    """Seal a run that begins; return the record strand's first link."""
    first = add(connection, run_id, RECORD, "head", seal.START, at)
    for what in ("info", "note"):
        say(connection, run_id, what, at)
    return first


def close(connection: sqlite3.Connection, run_id: int, at: str) -> None:
    """Seal what closes the record strand."""
    before = last_link(connection, run_id)
    for what in AT_THE_END:
        before = add(connection, run_id, RECORD, what, before, at)


def say(connection: sqlite3.Connection, run_id: int, what: str, at: str) -> None:
    """Seal ``what`` (info, note or judgement) on the words strand."""
    add(connection, run_id, WORDS, what, words_link(connection, run_id), at)


def _columns(connection: sqlite3.Connection, run_id: int, what: str, names: Sequence[str]) -> Item:
    query = f"SELECT {', '.join(names)} FROM runs WHERE id = ?"
    row = connection.execute(query, (run_id,)).fetchone() or (None,) * len(names)
    return Item(what, [(name, seal.field(value)) for name, value in zip(names, row, strict=True)])


def _rows(
    connection: sqlite3.Connection, run_id: int, what: str, query: str, each: str, named: bool = False
) -> Item:
    parts: list[Part] = []
    for number, row in enumerate(connection.execute(query, (run_id,))):
        name = f"{each} {row[0]}" if named else f"{each} {number}"
        parts.append((name, row_bytes(row)))
    return Item(what, parts)


def row_bytes(values: Sequence[Any]) -> bytes:
    """Return a row of database values as bytes, each value with its length before it."""
    pieces = [seal.field(value) for value in values]
    return b"".join(struct.pack("<I", len(piece)) + piece for piece in pieces)

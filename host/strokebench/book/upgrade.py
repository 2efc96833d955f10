"""Bringing runs of older books up to date: their samples as differences, and everything sealed."""

from __future__ import annotations

import sqlite3
from datetime import datetime, timezone
from uuid import uuid4

from strokebench.book import items, seal
from strokebench.errors import BookError


def utc_now() -> str:
    """Return the present time as ISO 8601 in UTC, to the millisecond."""
    return datetime.now(timezone.utc).isoformat(timespec="milliseconds")


def new_uid() -> str:
    """Return a name for a run that no other run has, in whichever book."""
    return uuid4().hex


def seal_all(connection: sqlite3.Connection) -> None:
    """Seal every run of a book that had no seals; ``runs.sealed_at`` says that it was done afterwards."""
    now = utc_now()
    runs = connection.execute("SELECT id, outcome, verdict FROM runs ORDER BY id").fetchall()
    for run_id, outcome, verdict in runs:
        connection.execute("UPDATE runs SET uid = ?, sealed_at = ? WHERE id = ?", (new_uid(), now, run_id))
        seal_run(connection, run_id, now, closed=outcome != "running", judged=verdict is not None)


def seal_run(connection: sqlite3.Connection, run_id: int, at: str, *, closed: bool, judged: bool) -> None:
    """Write both strands of a run that is in the book already."""
    before = items.begin(connection, run_id, at)
    query = "SELECT id, number, first_s, last_s, count, columns FROM batches WHERE run_id = ? ORDER BY number"
    for row_id, number, first_s, last_s, count, blob in connection.execute(query, (run_id,)).fetchall():
        new = _shorter(blob, count)
        item = items.batch(number, first_s, last_s, count, new)
        before = seal.link(before, item.digest())
        connection.execute(
            "UPDATE batches SET columns = ?, sums = ?, link = ? WHERE id = ?",
            (new, item.sums(), before, row_id),
        )
    if closed:
        items.close(connection, run_id, at)
    if judged:
        items.say(connection, run_id, "judgement", at)


def _shorter(blob: bytes, count: int) -> bytes:
    """Return the batch as it is written today; a damaged one stays as it is."""
    from strokebench.book.packing import pack_samples, unpack_samples

    try:
        return pack_samples(unpack_samples(blob, count))
    except BookError:
        return blob

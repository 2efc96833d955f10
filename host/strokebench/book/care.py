"""Looking after a job book: is it whole, and a copy that is safe to take while somebody records."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from pathlib import Path

from strokebench.book.connect import plain_errors
from strokebench.book.packing import unpack_floats, unpack_samples
from strokebench.errors import BookError


def problems(connection: sqlite3.Connection) -> Iterator[str]:
    """Yield one sentence for each thing that is wrong with the file; nothing when it is whole."""
    for (line,) in connection.execute("PRAGMA integrity_check"):
        if line != "ok":
            yield f"The database itself: {line}."
    for table, row, parent, _ in connection.execute("PRAGMA foreign_key_check"):
        yield f"Row {row} of {table} belongs to a row of {parent} that is not there."
    yield from _batches(connection)
    yield from _bursts(connection)


def _batches(connection: sqlite3.Connection) -> Iterator[str]:
    query = "SELECT run_id, number, count, first_s, last_s, columns FROM batches ORDER BY run_id, number"
    run, expected, last_s = None, 0, 0.0
    for run_id, number, count, first_s, until_s, blob in connection.execute(query):
        if run_id != run:
            run, expected, last_s = run_id, 0, first_s - 1
        where = f"Run {run_id}, batch {number}"
        if number != expected:
            yield f"{where}: batch {expected} before it is missing."
        expected = number + 1
        try:
            rows = unpack_samples(blob, count)
        except BookError:
            yield f"{where}: its samples cannot be read."
            continue
        if first_s <= last_s or rows["time_s"][0] != first_s or rows["time_s"][-1] != until_s:
            yield f"{where}: its times do not fit."
        last_s = until_s


def _bursts(connection: sqlite3.Connection) -> Iterator[str]:
    for run_id, blob in connection.execute("SELECT run_id, numbers FROM bursts"):
        try:
            unpack_floats(blob)
        except (BookError, ValueError):
            yield f"Run {run_id}: a fast capture cannot be read."


def backup(connection: sqlite3.Connection, source: Path, target: Path) -> int:
    """Copy the whole book to ``target``, consistent even while somebody writes; return the size in bytes.

    Raises :class:`BookError` when ``target`` exists or cannot be written; a failed copy is removed.
    """
    if target.exists():
        raise BookError(f"{target} exists already.", "Choose another name; a backup never overwrites.")
    try:
        with plain_errors(target):
            copy = sqlite3.connect(target)
            try:
                connection.backup(copy, pages=1000)
            finally:
                copy.close()
    except BaseException:
        target.unlink(missing_ok=True)
        raise
    return target.stat().st_size

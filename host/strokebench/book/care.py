"""Looking after a job book: is it whole and unaltered, and a copy that is safe while somebody records."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from pathlib import Path

from strokebench.book import items, reader, seal
from strokebench.book.connect import plain_errors
from strokebench.book.jobs import chain
from strokebench.errors import BookError, UsageError

SEAL_DIGITS = 16
Heard = Callable[[int, int], None]
"""Told how many runs of how many were looked at."""


def problems(connection: sqlite3.Connection, heard: Heard = lambda done, of: None) -> Iterator[str]:
    """Yield one sentence for each thing that is wrong with the file; nothing when it is whole."""
    for (line,) in connection.execute("PRAGMA integrity_check"):
        if line != "ok":
            yield f"The database itself: {line}."
    for table, row, parent, _ in connection.execute("PRAGMA foreign_key_check"):
        yield f"Row {row} of {table} belongs to a row of {parent} that is not there."
    runs = [run_id for (run_id,) in connection.execute("SELECT id FROM runs ORDER BY id")]
    if runs and runs[-1] != len(runs):  # the first run of a book is number 1
        yield "Some runs are missing: their numbers have a gap."
    for done, run_id in enumerate(runs):
        heard(done, len(runs))
        try:
            yield from _run(connection, run_id)
        except BookError as error:
            yield f"Run {run_id}: {error}"
    yield from chain.problems(connection)


def _run(connection: sqlite3.Connection, run_id: int) -> Iterator[str]:
    """Yield what is wrong with one run: what cannot be read, then what is not as it was sealed."""
    try:
        for what in reader.load(connection, run_id).info.get("damaged", ()):
            yield f"Run {run_id}, {what}: it cannot be read."
        reader.findings(connection, run_id)
    except BookError as error:
        yield f"Run {run_id}: {error}"
    for found in _record(connection, run_id):
        yield f"Run {run_id}, {found}."
    for found in _words(connection, run_id):
        yield f"Run {run_id}, {found}."


Sealed = tuple[str, bytes, bytes, bytes]
"""What, digest, sums and link of a seal."""


def _record(connection: sqlite3.Connection, run_id: int) -> Iterator[str]:
    """Yield what is wrong on the record strand: head, batches, what closes it."""
    sealed = {
        what: (what, digest, sums, link) for what, digest, sums, link in _seals(connection, run_id, True)
    }
    if "head" not in sealed:
        yield "head: its seal is missing"
        return
    yield from _held(connection, run_id, sealed["head"], seal.START)
    before = sealed["head"][3]
    query = """SELECT number, first_s, last_s, count, columns, sums, link FROM batches
        WHERE run_id = ? ORDER BY number"""
    expected = 0
    for number, first_s, last_s, count, blob, sums, link in connection.execute(query, (run_id,)):
        if number != expected:
            yield f"batch {number}: batch {expected} before it is missing"
        expected = number + 1
        yield from _batch(before, number, first_s, last_s, count, blob, sums, link)
        before = link if isinstance(link, bytes) else b""
    (outcome,) = connection.execute("SELECT outcome FROM runs WHERE id = ?", (run_id,)).fetchone()
    for what in items.AT_THE_END:
        if what in sealed:
            yield from _held(connection, run_id, sealed[what], before)
            before = sealed[what][3]
        elif outcome != "running":
            yield f"{what}: its seal is missing"


def _batch(
    before: bytes,
    number: int,
    first_s: float,
    last_s: float,
    count: int,
    blob: object,
    sums: object,
    link: object,
) -> Iterator[str]:
    values = (number, first_s, last_s, count)
    if not all(isinstance(value, (int, float)) for value in values) or not isinstance(blob, bytes):
        yield f"batch {number}: it cannot be read"
        return
    item = items.batch(number, first_s, last_s, count, blob)
    places = seal.differences(item, sums) if isinstance(sums, bytes) else ["its sums are missing"]
    for place in places:
        yield f"batch {number}, {place}"
    if not places and seal.link(before, item.digest()) != link:
        yield f"batch {number}: it does not follow the one before it"


def _words(connection: sqlite3.Connection, run_id: int) -> Iterator[str]:
    """Yield what is wrong on the words strand; only the newest of each kind is still in the book."""
    head, *rest = [*_seals(connection, run_id, False)] or [("", b"", b"", b"")]
    before = head[3]
    newest = {}
    for what, digest, sums, link in rest:
        if seal.link(before, digest) != link:
            yield f"{what}: its seal does not follow the one before it"
        before = link
        newest[what] = (what, digest, sums, link)
    for what, digest, sums, _link in newest.values():
        yield from _altered(connection, run_id, what, digest, sums)
    (verdict,) = connection.execute("SELECT verdict FROM runs WHERE id = ?", (run_id,)).fetchone()
    for what, wanted in (("info", True), ("note", True), ("judgement", verdict is not None)):
        if wanted and what not in newest:
            yield f"{what}: its seal is missing"


def _held(connection: sqlite3.Connection, run_id: int, sealed: Sealed, before: bytes) -> Iterator[str]:
    what, digest, sums, link = sealed
    yield from _altered(connection, run_id, what, digest, sums)
    if seal.link(before, digest) != link:
        yield f"{what}: its seal does not follow the one before it"


def _altered(
    connection: sqlite3.Connection, run_id: int, what: str, digest: bytes, sums: bytes
) -> Iterator[str]:
    item = items.BUILDERS[what](connection, run_id)
    if item.digest() == digest:
        return
    for place in seal.differences(item, sums) or ["it is not as it was written"]:
        yield f"{what}, {place}"


def _seals(connection: sqlite3.Connection, run_id: int, record: bool) -> Iterator[Sealed]:
    """Yield the seals of one strand in order; the head belongs to both, unknown ones to none."""
    query = "SELECT strand, what, digest, sums, link FROM seals WHERE run_id = ? ORDER BY number"
    strand = items.RECORD if record else items.WORDS
    for on, what, digest, sums, link in connection.execute(query, (run_id,)).fetchall():
        whole = all(isinstance(value, bytes) for value in (digest, sums, link))
        if whole and what in items.BUILDERS and (on == strand or what == "head"):
            yield what, digest, sums, link


def find_seal(connection: sqlite3.Connection, digits: str) -> tuple[int, str, str] | None:
    """Return run, what and when of the seal that begins with ``digits``; UsageError when they are too few."""
    digits = digits.strip().lower()
    if len(digits) < SEAL_DIGITS or any(digit not in "0123456789abcdef" for digit in digits):
        raise UsageError(
            f"{digits!r} is no seal.", f"Give its first {SEAL_DIGITS} digits (0-9, a-f) or more, as printed."
        )
    query = "SELECT run_id, what, made_at FROM seals WHERE substr(hex(link), 1, ?) = ?"
    row = connection.execute(query, (len(digits), digits.upper())).fetchone()
    return None if row is None else (int(row[0]), str(row[1]), str(row[2]))


def backup(connection: sqlite3.Connection, source: Path, target: Path) -> int:
    """Copy the whole book to ``target``, consistent even while somebody writes; return the size in bytes.

    Raises :class:`BookError` when ``target`` exists or cannot be written; a failed copy is removed.
    """
    try:
        with plain_errors(target):
            target.open("xb").close()  # ours from here on, and nobody's file is touched
    except BookError as error:
        if target.exists():
            raise BookError(
                f"{target} exists already.", "Choose another name; a backup never overwrites."
            ) from None
        raise error
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

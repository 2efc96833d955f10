"""The chain of a job: what is sealed, and the check that it is still so.

One strand: each change of the texts, of the list of attempts or of the photos adds a link. As with a run's
words only the newest of each is in the book; the links before it show that nothing was taken out.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable, Iterator

from strokebench.book import schema, seal, typed
from strokebench.book.items import row_bytes
from strokebench.book.seal import Item
from strokebench.errors import BookError

START = b"strokebench job\n"
"""What the first link of a job's chain follows."""
COLUMNS = (
    "uid", "opened_at", "customer", "vehicle", "complaint", "part_number", "part_serial", "done", "signed_by",
    "signed_at", "signed_seals",
)  # fmt: skip


def texts(connection: sqlite3.Connection, job_id: int) -> Item:
    """Return what is written of a job."""
    query = f"SELECT {', '.join(COLUMNS)} FROM jobs WHERE id = ?"
    row = connection.execute(query, (job_id,)).fetchone() or (None,) * len(COLUMNS)
    return Item("texts", [(name, seal.field(value)) for name, value in zip(COLUMNS, row, strict=True)])


def attempts(connection: sqlite3.Connection, job_id: int) -> Item:
    """Return which recordings belong to it, by the name that no other recording has, and what for."""
    query = """SELECT runs.id, runs.uid, attempts.role, attempts.added_at FROM attempts
        JOIN runs ON runs.id = attempts.run_id WHERE attempts.job_id = ? ORDER BY runs.id"""
    rows = connection.execute(query, (job_id,))
    return Item("attempts", [(f"run {row[0]}", row_bytes(row)) for row in rows])


def photos(connection: sqlite3.Connection, job_id: int) -> Item:
    """Return its photos with their captions."""
    query = """SELECT number, added_at, caption, original, kind, data FROM photos WHERE job_id = ?
        ORDER BY number"""
    rows = connection.execute(query, (job_id,))
    return Item("photos", [(f"photo {row[0]}", row_bytes(row)) for row in rows])


BUILDERS: dict[str, Callable[[sqlite3.Connection, int], Item]] = {
    "texts": texts, "attempts": attempts, "photos": photos,
}  # fmt: skip


def add(connection: sqlite3.Connection, job_id: int, what: str, at: str) -> None:
    """Seal ``what`` of a job as it is in the book; belongs into the transaction that changes it."""
    item = BUILDERS[what](connection, job_id)
    query = "SELECT link FROM job_seals WHERE job_id = ? ORDER BY number DESC LIMIT 1"
    row = connection.execute(query, (job_id,)).fetchone()
    before = START if row is None else row[0] if isinstance(row[0], bytes) else b""
    digest = item.digest()
    connection.execute(
        """INSERT INTO job_seals(job_id, number, what, made_at, digest, sums, link) VALUES (?1,
        (SELECT coalesce(max(number) + 1, 0) FROM job_seals WHERE job_id = ?1), ?2, ?3, ?4, ?5, ?6)""",
        (job_id, what, at, digest, item.sums(), seal.link(before, digest)),
    )


def begin(connection: sqlite3.Connection, job_id: int, at: str) -> None:
    """Seal a job that is new in the book."""
    for what in BUILDERS:
        add(connection, job_id, what, at)


def newest_seal(connection: sqlite3.Connection, job_id: int) -> str:
    """Return the newest link of a job's chain as hexadecimal digits, empty when it has none."""
    query = "SELECT link FROM job_seals WHERE job_id = ? ORDER BY number DESC LIMIT 1"
    row = connection.execute(query, (job_id,)).fetchone()
    return row[0].hex() if row is not None and isinstance(row[0], bytes) else ""


def problems(connection: sqlite3.Connection) -> Iterator[str]:
    """Yield one sentence for each thing that is wrong with the jobs of a book."""
    if schema.version_of(connection) < schema.WITH_JOBS:
        return
    numbers = [number for (number,) in connection.execute("SELECT id FROM jobs ORDER BY id")]
    if numbers and numbers[-1] != len(numbers):  # the first job of a book is number 1
        yield "Some jobs are missing: their numbers have a gap."
    for job_id in numbers:
        for found in _job(connection, job_id):
            yield f"Job {job_id}, {found}."


def _job(connection: sqlite3.Connection, job_id: int) -> Iterator[str]:
    before, newest = START, {}
    query = "SELECT what, digest, sums, link FROM job_seals WHERE job_id = ? ORDER BY number"
    for what, digest, sums, link in connection.execute(query, (job_id,)).fetchall():
        if what not in BUILDERS or not all(isinstance(value, bytes) for value in (digest, sums, link)):
            yield "seals: one of them cannot be read"
            continue
        if seal.link(before, digest) != link:
            yield f"{what}: its seal does not follow the one before it"
        before = link
        newest[what] = (digest, sums)
    for what, build in BUILDERS.items():
        if what not in newest:
            yield f"{what}: its seal is missing"
            continue
        item, (digest, sums) = build(connection, job_id), newest[what]
        if item.digest() != digest:
            for place in seal.differences(item, sums) or ["it is not as it was written"]:
                yield f"{what}, {place}"
    yield from _signed(connection, job_id)


def _signed(connection: sqlite3.Connection, job_id: int) -> Iterator[str]:
    """Yield which runs no longer carry the seal that they had when the job was signed."""
    (kept,) = connection.execute("SELECT signed_seals FROM jobs WHERE id = ?", (job_id,)).fetchone()
    try:
        seals = typed.table(kept, "the seals that were signed")
    except BookError:
        yield "signature: the seals that were signed cannot be read"
        return
    for run_id, digits in seals.items():
        query = "SELECT 1 FROM seals WHERE run_id = ? AND hex(link) = ?"
        if connection.execute(query, (run_id, str(digits).upper())).fetchone() is None:
            yield f"signature: run {run_id} is not the one that was signed"


def seals_of(connection: sqlite3.Connection, job_id: int) -> str:
    """Return the seals that a job's runs have now, as JSON by run."""
    query = "SELECT run_id FROM attempts WHERE job_id = ? ORDER BY run_id"
    newest = "SELECT hex(link) FROM seals WHERE run_id = ? ORDER BY number DESC LIMIT 1"
    runs = [run_id for (run_id,) in connection.execute(query, (job_id,)).fetchall()]
    found = {str(run_id): connection.execute(newest, (run_id,)).fetchone() for run_id in runs}
    return json.dumps({run_id: row[0].lower() if row else "" for run_id, row in found.items()})

"""The job book's tables, as the list of steps from an empty file to the present version."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from functools import lru_cache

from strokebench.book import upgrade
from strokebench.errors import BookError

APPLICATION_ID = 0x53424B31
"""Marks a SQLite file as a job book (``PRAGMA application_id``), so that no other database is written to."""

MIGRATIONS: tuple[str, ...] = (
    """
    CREATE TABLE runs (
        id INTEGER PRIMARY KEY, started_at TEXT NOT NULL, ended_at TEXT,
        part TEXT NOT NULL, kind TEXT NOT NULL, part_serial TEXT NOT NULL DEFAULT '',
        customer TEXT NOT NULL DEFAULT '', note TEXT NOT NULL DEFAULT '',
        outcome TEXT NOT NULL DEFAULT 'running', verdict TEXT, writer TEXT NOT NULL DEFAULT '',
        info TEXT NOT NULL DEFAULT '{}', accuracy TEXT NOT NULL DEFAULT '{}',
        profile TEXT NOT NULL DEFAULT '{}',
        samples INTEGER NOT NULL DEFAULT 0, first_s REAL, last_s REAL
    );
    CREATE TABLE batches (
        id INTEGER PRIMARY KEY, run_id INTEGER NOT NULL REFERENCES runs(id) ON DELETE CASCADE,
        number INTEGER NOT NULL, first_s REAL NOT NULL, last_s REAL NOT NULL, count INTEGER NOT NULL,
        columns BLOB NOT NULL
    );
    CREATE TABLE marks (
        run_id INTEGER NOT NULL REFERENCES runs(id) ON DELETE CASCADE, number INTEGER NOT NULL,
        label TEXT NOT NULL, kind TEXT NOT NULL, start_s REAL NOT NULL, end_s REAL,
        PRIMARY KEY (run_id, number)
    ) WITHOUT ROWID;
    CREATE TABLE events (
        id INTEGER PRIMARY KEY, run_id INTEGER NOT NULL REFERENCES runs(id) ON DELETE CASCADE,
        time_s REAL NOT NULL, kind TEXT NOT NULL, code INTEGER NOT NULL, text TEXT NOT NULL
    );
    CREATE TABLE bursts (
        id INTEGER PRIMARY KEY, run_id INTEGER NOT NULL REFERENCES runs(id) ON DELETE CASCADE,
        channel TEXT NOT NULL, unit TEXT NOT NULL, rate_hz REAL NOT NULL, start_s REAL NOT NULL,
        label TEXT NOT NULL, numbers BLOB NOT NULL
    );
    CREATE TABLE findings (
        id INTEGER PRIMARY KEY, run_id INTEGER NOT NULL REFERENCES runs(id) ON DELETE CASCADE,
        key TEXT NOT NULL, title TEXT NOT NULL, value REAL, u REAL, unit TEXT NOT NULL,
        lower REAL, upper REAL, verdict TEXT NOT NULL, reason TEXT NOT NULL,
        span_start_s REAL, span_end_s REAL, place REAL, fault TEXT NOT NULL, evidence TEXT NOT NULL
    );
    CREATE UNIQUE INDEX batches_of_run ON batches(run_id, number);
    CREATE INDEX runs_by_part ON runs(part, started_at);
    CREATE INDEX runs_by_customer ON runs(customer, started_at);
    CREATE INDEX runs_by_start ON runs(started_at);
    CREATE INDEX events_of_run ON events(run_id);
    CREATE INDEX bursts_of_run ON bursts(run_id);
    CREATE INDEX findings_of_run ON findings(run_id);
    CREATE INDEX findings_by_key ON findings(key, run_id);
    """,
    """
    ALTER TABLE runs ADD COLUMN uid TEXT NOT NULL DEFAULT '';
    ALTER TABLE runs ADD COLUMN sealed_at TEXT NOT NULL DEFAULT '';
    ALTER TABLE batches ADD COLUMN sums BLOB;
    ALTER TABLE batches ADD COLUMN link BLOB;
    CREATE TABLE seals (
        run_id INTEGER NOT NULL REFERENCES runs(id) ON DELETE CASCADE, number INTEGER NOT NULL,
        strand TEXT NOT NULL, what TEXT NOT NULL, made_at TEXT NOT NULL, digest BLOB NOT NULL,
        sums BLOB NOT NULL, link BLOB NOT NULL,
        PRIMARY KEY (run_id, number)
    ) WITHOUT ROWID;
    CREATE TABLE facts (name TEXT PRIMARY KEY, value BLOB NOT NULL) WITHOUT ROWID;
    INSERT INTO facts VALUES ('salt', randomblob(32));
    """,
    """
    CREATE TABLE jobs (
        id INTEGER PRIMARY KEY, uid TEXT NOT NULL, opened_at TEXT NOT NULL,
        customer TEXT NOT NULL DEFAULT '', vehicle TEXT NOT NULL DEFAULT '',
        complaint TEXT NOT NULL DEFAULT '', part_number TEXT NOT NULL DEFAULT '',
        part_serial TEXT NOT NULL DEFAULT '', done TEXT NOT NULL DEFAULT '',
        signed_by TEXT NOT NULL DEFAULT '', signed_at TEXT NOT NULL DEFAULT '',
        signed_seals TEXT NOT NULL DEFAULT '{}'
    );
    CREATE TABLE attempts (
        run_id INTEGER PRIMARY KEY REFERENCES runs(id) ON DELETE CASCADE,
        job_id INTEGER NOT NULL REFERENCES jobs(id) ON DELETE CASCADE,
        role TEXT NOT NULL, added_at TEXT NOT NULL
    );
    CREATE TABLE photos (
        id INTEGER PRIMARY KEY, job_id INTEGER NOT NULL REFERENCES jobs(id) ON DELETE CASCADE,
        number INTEGER NOT NULL, added_at TEXT NOT NULL, caption TEXT NOT NULL, original TEXT NOT NULL,
        kind TEXT NOT NULL, data BLOB NOT NULL
    );
    CREATE TABLE job_seals (
        job_id INTEGER NOT NULL REFERENCES jobs(id) ON DELETE CASCADE, number INTEGER NOT NULL,
        what TEXT NOT NULL, made_at TEXT NOT NULL, digest BLOB NOT NULL, sums BLOB NOT NULL,
        link BLOB NOT NULL,
        PRIMARY KEY (job_id, number)
    ) WITHOUT ROWID;
    CREATE INDEX attempts_of_job ON attempts(job_id);
    CREATE INDEX photos_of_job ON photos(job_id);
    """,
)
"""Step n brings ``PRAGMA user_version`` from n to n + 1. Only ever append."""
SEALED = 2
"""The first version whose runs are sealed; an older one is sealed when it is brought up to date."""
WITH_JOBS = 3
"""The first version that knows jobs; books from SEALED on can be read as they are, and have none."""


def version_of(connection: sqlite3.Connection) -> int:
    """Return the schema version of an open file (0 for an empty one)."""
    return int(connection.execute("PRAGMA user_version").fetchone()[0])


def migrate(connection: sqlite3.Connection, name: str) -> None:
    """Bring the file up to the present version, each step in one transaction.

    Raises :class:`BookError` for a file of a newer version or of another program.
    """
    check(connection, name)
    while (version := version_of(connection)) < len(MIGRATIONS):
        connection.execute("BEGIN IMMEDIATE")
        try:
            if version_of(connection) == version:  # else another process was quicker
                for statement in MIGRATIONS[version].split(";"):
                    connection.execute(statement)
                if version + 1 == SEALED:
                    upgrade.seal_all(connection)
                connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
                connection.execute(f"PRAGMA user_version = {version + 1}")
            connection.execute("COMMIT")
        except BaseException:
            connection.rollback()
            raise


def check(connection: sqlite3.Connection, name: str) -> None:
    """Refuse a file that is another program's database, a newer job book, or one with foreign objects in it.

    A trigger or view in a file acts by itself when the file is used; a job book has none.
    """
    connection.execute("BEGIN")  # all of it as it is at one moment: somebody may be making the book
    try:
        application = int(connection.execute("PRAGMA application_id").fetchone()[0])
        there, version = _objects(connection), version_of(connection)
    finally:
        connection.rollback()
    if application != APPLICATION_ID and there:
        raise BookError(f"{name} is a database, but not a job book.", "Choose another file with --book.")
    if version > len(MIGRATIONS):
        raise BookError(
            f"{name} was written by a newer strokebench (book version {version}).",
            "Update strokebench, or choose another file with --book.",
        )
    if version < 0 or (there and version == 0):
        raise BookError(f"{name} is not a complete job book.", "Choose another file with --book.")
    if version:
        _compare(there, _expected(version), name)


Objects = dict[tuple[str, str], str]


def _objects(connection: sqlite3.Connection) -> Objects:
    """Return the SQL of everything that the file declares, by kind and name; SQLite's own left out."""
    query = (
        "SELECT type, name, sql FROM sqlite_master WHERE name NOT LIKE 'sqlite\\_%' ESCAPE '\\' LIMIT 1000"
    )
    return {(kind, name): " ".join(str(sql).split()) for kind, name, sql in connection.execute(query)}


@lru_cache
def _expected(version: int) -> Objects:
    """Return what a book of that version declares."""
    with closing(sqlite3.connect(":memory:")) as empty:
        for step in MIGRATIONS[:version]:
            empty.executescript(step)
        return _objects(empty)


def _compare(there: Objects, expected: Objects, name: str) -> None:
    for (kind, what), sql in there.items():
        if (kind, what) not in expected:
            raise BookError(
                f"{name} holds a {kind} {what!r} that strokebench did not make.",
                "Do not use this file; `strokebench book recover` saves its runs into a new one.",
            )
        if sql != expected[kind, what]:
            raise BookError(
                f"{name}: its {kind} {what!r} was changed.",
                "Do not use this file; `strokebench book recover` saves its runs into a new one.",
            )
    missing = [what for kind, what in expected if (kind, what) not in there and kind == "table"]
    if missing:
        raise BookError(
            f"{name} is not a complete job book: {missing[0]!r} is missing.",
            "Restore it from a backup, or save what is left with `strokebench book recover`.",
        )

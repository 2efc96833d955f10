"""The job book's tables, as the list of steps from an empty file to the present version."""

from __future__ import annotations

import sqlite3

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
)
"""Step n brings ``PRAGMA user_version`` from n to n + 1. Only ever append."""


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
                connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
                connection.execute(f"PRAGMA user_version = {version + 1}")
            connection.execute("COMMIT")
        except BaseException:
            connection.rollback()
            raise


def check(connection: sqlite3.Connection, name: str) -> None:
    """Refuse a file that is another program's database or a newer job book."""
    application = int(connection.execute("PRAGMA application_id").fetchone()[0])
    empty = connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0] == 0
    if application != APPLICATION_ID and not empty:
        raise BookError(f"{name} is a database, but not a job book.", "Choose another file with --book.")
    if version_of(connection) > len(MIGRATIONS):
        raise BookError(
            f"{name} was written by a newer strokebench (book version {version_of(connection)}).",
            "Update strokebench, or choose another file with --book.",
        )

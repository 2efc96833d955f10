"""Opening a job book, and SQLite's errors as sentences."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from strokebench.book import schema
from strokebench.errors import BookError

BUSY_MS = 10_000
"""How long a short transaction waits for its turn when several processes write into one book."""

_SENTENCES = (
    ("readonly", "is read-only", "Check its permissions and its folder's, or choose another with --book."),
    ("full", "could not grow: the disk is full", "Free some space; what was committed so far is kept."),
    ("locked", "is locked by another program", "Close the program that holds it and try again."),
    ("disk i/o", "could not be written or read: disk error", "Check the disk and its free space."),
    ("unable to open", "cannot be opened", "Check that the folder exists and may be written to."),
    ("not a database", "is not a job book", "Choose another file with --book."),
    ("malformed", "is damaged", "Restore it from a backup; `strokebench book check` says what is readable."),
    ("no such table", "is not a complete job book", "Choose another file with --book."),
)


@contextmanager
def plain_errors(path: Path) -> Iterator[None]:
    """Turn SQLite's and the system's errors into :class:`BookError` sentences about ``path``."""
    try:
        yield
    except sqlite3.Error as error:
        text = str(error).lower()
        for word, what, hint in _SENTENCES:
            if word in text:
                raise BookError(f"The job book {path} {what}.", hint) from error
        raise BookError(f"The job book {path} could not be used: {error}.") from error
    except OSError as error:
        raise BookError(f"The job book {path} could not be used: {error.strerror}.") from error


def connect(path: Path, *, read_only: bool = False) -> sqlite3.Connection:
    """Open ``path``, create it or bring it up to date unless ``read_only``.

    Raises :class:`BookError`.  Transactions are explicit (``BEGIN IMMEDIATE``).
    """
    with plain_errors(path):
        if read_only:
            return _connect_read_only(path)
        connection = _open(path.as_posix(), uri=False)
        try:
            _prepare(connection, path)
        except BaseException:
            connection.close()
            raise
        return connection


def _open(name: str, *, uri: bool) -> sqlite3.Connection:
    connection = sqlite3.connect(name, timeout=BUSY_MS / 1000, isolation_level=None, uri=uri)
    connection.execute("PRAGMA foreign_keys = ON")
    return connection


def _prepare(connection: sqlite3.Connection, path: Path) -> None:
    schema.check(connection, path.name)
    _wal(connection)
    # A checkpoint syncs the disk and can outlast the heartbeat: leave it to the end of the run.
    connection.execute("PRAGMA synchronous = NORMAL")
    connection.execute("PRAGMA wal_autocheckpoint = 20000")
    schema.migrate(connection, path.name)


def _wal(connection: sqlite3.Connection) -> None:
    """Switch to write-ahead logging; SQLite does not wait for its turn here, so we do."""
    import time

    for _ in range(BUSY_MS // 20):
        try:
            connection.execute("PRAGMA journal_mode = WAL")
            return
        except sqlite3.OperationalError as error:
            if "locked" not in str(error):
                raise
            time.sleep(0.02)
    connection.execute("PRAGMA journal_mode = WAL")


def _connect_read_only(path: Path) -> sqlite3.Connection:
    if not path.exists():
        raise BookError(
            f"There is no job book {path}.", "Check the name, or make one with `strokebench run`."
        )
    address = path.resolve().as_uri()
    connection = _open(f"{address}?mode=ro", uri=True)
    try:
        schema.check(connection, path.name)
    except sqlite3.OperationalError as error:
        connection.close()
        if "unable to open" not in str(error) and "readonly" not in str(error):
            raise
        # A read-only folder has no room for the shared-memory file; without one nobody can be writing.
        connection = _open(f"{address}?mode=ro&immutable=1", uri=True)
        schema.check(connection, path.name)
    except BaseException:
        connection.close()
        raise
    if schema.version_of(connection) < len(schema.MIGRATIONS):
        connection.close()
        raise BookError(
            f"{path.name} is of an older version or empty.", "Open it once for writing to update it."
        )
    return connection

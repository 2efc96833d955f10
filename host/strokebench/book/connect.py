"""Opening a job book, and SQLite's errors as sentences."""

from __future__ import annotations

import shutil
import sqlite3
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from strokebench.book import schema
from strokebench.errors import BookError

BUSY_MS = 10_000
"""How long a short transaction waits for its turn when several processes write into one book."""

SLOWEST_S = 120.0
"""A single question that keeps SQLite busy for longer is given up: a file can be made to ask without end."""
STEPS = 200_000
LONGEST = 256 * 1024 * 1024
"""Bytes of one value or row at most."""

_SENTENCES = (
    ("interrupted", f"kept SQLite busy for more than {SLOWEST_S:.0f} s", "It may be damaged: `book check`."),
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
    except UnicodeDecodeError as error:  # SQLite's own message quotes a damaged name
        raise BookError(f"The job book {path} is damaged.", "Restore it from a backup.") from error
    except OSError as error:
        raise BookError(f"The job book {path} could not be used: {error.strerror}.") from error


@contextmanager
def transaction(connection: sqlite3.Connection) -> Iterator[None]:
    """Do what is inside as a whole or not at all; waits for its turn to write."""
    connection.execute("BEGIN IMMEDIATE")
    try:
        yield
        connection.execute("COMMIT")
    except BaseException:
        if connection.in_transaction:
            connection.rollback()
        raise


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
    connection.text_factory = _text
    # Nothing in the file may act by itself: see https://www.sqlite.org/security.html
    connection.execute("PRAGMA trusted_schema = OFF")
    connection.execute("PRAGMA cell_size_check = ON")
    connection.execute("PRAGMA foreign_keys = ON")
    if sys.version_info >= (3, 11):
        connection.setlimit(sqlite3.SQLITE_LIMIT_LENGTH, LONGEST)
    connection.set_progress_handler(_patience(), STEPS)
    return connection


def _text(data: bytes) -> str:
    """Return a column's text; one damaged letter costs that letter only (its seal shows it)."""
    return data.decode("utf-8", "replace")


def _patience() -> Callable[[], int]:
    """Return a handler that ends a question after SLOWEST_S; a pause between questions starts it anew."""
    began_s = last_s = 0.0

    def look() -> int:
        nonlocal began_s, last_s
        now_s = time.monotonic()
        if now_s - last_s > 1.0:
            began_s = now_s
        last_s = now_s
        return int(now_s - began_s > SLOWEST_S)

    return look


def _prepare(connection: sqlite3.Connection, path: Path) -> None:
    schema.check(connection, path.name)
    _wal(connection)
    # A checkpoint syncs the disk and can outlast the heartbeat: leave it to the end of the run.
    connection.execute("PRAGMA synchronous = NORMAL")
    connection.execute("PRAGMA wal_autocheckpoint = 20000")
    schema.migrate(connection, path.name)


def _wal(connection: sqlite3.Connection) -> None:
    """Switch to write-ahead logging; SQLite does not wait for its turn here, so we do."""
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
    connection = _first_that_opens(path)
    if schema.version_of(connection) < schema.SEALED:
        connection.close()
        raise BookError(
            f"{path.name} is of an older version or empty.",
            f"If it holds runs, a note brings it up to date: strokebench book note 1 updated --book {path}",
        )
    return connection


def _first_that_opens(path: Path) -> sqlite3.Connection:
    """Open for reading, also where nothing can be written: read-only folder, full disk.

    A book that was not closed has its newest rows in a log beside it, and SQLite reads that with a third file
    only, which it makes. Where it cannot, book and log are copied to where it can; without a log the book can
    be read as it is.
    """
    address = path.resolve().as_uri()
    try:
        return _checked(f"{address}?mode=ro", path)
    except sqlite3.OperationalError as error:
        if not any(word in str(error) for word in ("unable to open", "readonly", "disk I/O", "full")):
            raise
    log = path.with_name(path.name + "-wal")
    if not log.exists() or not log.stat().st_size:
        return _checked(f"{address}?mode=ro&immutable=1", path)
    folder = Path(tempfile.mkdtemp(prefix="strokebench-"))
    try:
        for file in (path, log):
            shutil.copyfile(file, folder / file.name)
        with closing(_checked((folder / path.name).as_uri(), path)) as copy:
            connection = _open(":memory:", uri=False)
            copy.backup(connection)
    finally:
        shutil.rmtree(folder, ignore_errors=True)
    return connection


def _checked(address: str, path: Path) -> sqlite3.Connection:
    connection = _open(address, uri=True)
    try:
        schema.check(connection, path.name)
    except BaseException:
        connection.close()
        raise
    return connection

"""Jobs of a book: open, change, sign, read. Every change is sealed in the transaction that makes it."""

from __future__ import annotations

import hashlib
import sqlite3
from pathlib import Path
from typing import Any

from strokebench.book import contents, schema, typed
from strokebench.book.connect import plain_errors, transaction
from strokebench.book.jobs import chain
from strokebench.book.jobs.model import (
    MOST_CAPTION,
    MOST_NAME,
    MOST_PHOTOS,
    ROLES,
    TEXTS,
    TITLES,
    Attempt,
    Job,
    JobPhoto,
)
from strokebench.book.upgrade import new_uid, utc_now
from strokebench.data.photo import Photo
from strokebench.errors import UsageError

_JOB = ("uid", "opened_at", *TEXTS, "signed_by", "signed_at")


class Jobs:
    """The jobs of an open book. All methods raise :class:`BookError`, UsageError for a job it has not."""

    def __init__(self, connection: sqlite3.Connection, path: Path) -> None:
        self._connection = connection
        self._path = path

    def new(self, **texts: str) -> int:
        """Open a job and return its number; ``texts`` as in :data:`strokebench.book.jobs.model.TEXTS`."""
        values = {name: _fitting(name, texts.get(name, "")) for name in TEXTS}
        now = utc_now()
        names = ("uid", "opened_at", *values)
        marks = ", ".join("?" * len(names))
        with plain_errors(self._path), transaction(self._connection):
            statement = f"INSERT INTO jobs({', '.join(names)}) VALUES ({marks})"
            job_id = self._connection.execute(statement, (new_uid(), now, *values.values())).lastrowid
            assert job_id is not None
            chain.begin(self._connection, job_id, now)
        return job_id

    def change(self, job_id: int, **texts: str) -> None:
        """Replace texts of a job that is not signed."""
        values = {name: _fitting(name, text) for name, text in texts.items()}
        if not values:
            return
        sets = ", ".join(f"{name} = ?" for name in values)
        with plain_errors(self._path), transaction(self._connection):
            self._open(job_id)
            self._connection.execute(f"UPDATE jobs SET {sets} WHERE id = ?", (*values.values(), job_id))
            chain.add(self._connection, job_id, "texts", utc_now())

    def add_run(self, job_id: int, run_id: int, role: str = "") -> str:
        """Make a run an attempt of a job, or change what it was for; return its role.

        Without ``role``: "after" once it was written down what was done, else "before".
        """
        if role and role not in ROLES:
            raise UsageError(f"{role!r} is no kind of attempt.", f"Known: {', '.join(ROLES)}.")
        with plain_errors(self._path), transaction(self._connection):
            done = self._open(job_id)
            role = role or ("after" if done else "before")
            self._check_run(job_id, run_id)
            now = utc_now()
            self._connection.execute(
                "INSERT OR REPLACE INTO attempts(run_id, job_id, role, added_at) VALUES (?, ?, ?, ?)",
                (run_id, job_id, role, now),
            )
            chain.add(self._connection, job_id, "attempts", now)
        return role

    def _check_run(self, job_id: int, run_id: int) -> None:
        execute = self._connection.execute
        if execute("SELECT 1 FROM runs WHERE id = ?", (run_id,)).fetchone() is None:
            raise UsageError(f"The job book {self._path} has no run {run_id}.", "`strokebench book list`.")
        row = execute("SELECT job_id FROM attempts WHERE run_id = ?", (run_id,)).fetchone()
        if row is not None and row[0] != job_id:
            raise UsageError(f"Run {run_id} belongs to job {row[0]}.", "A run has one job only.")

    def add_photo(self, job_id: int, photo: Photo, original: bytes, caption: str = "") -> int:
        """Add a photo made from the file ``original`` (:mod:`strokebench.data.photo`); return its number."""
        caption = _within(caption, MOST_CAPTION, "The caption")
        with plain_errors(self._path), transaction(self._connection):
            self._open(job_id)
            query = "SELECT count(*), coalesce(max(number), 0) FROM photos WHERE job_id = ?"
            count, last = self._connection.execute(query, (job_id,)).fetchone()
            if count >= MOST_PHOTOS:
                raise UsageError(f"Job {job_id} has {count} photos already.", "That is as many as fit.")
            now, digest = utc_now(), hashlib.sha256(original).hexdigest()
            self._connection.execute(
                """INSERT INTO photos(job_id, number, added_at, caption, original, kind, data)
                VALUES (?, ?, ?, ?, ?, ?, ?)""",
                (job_id, last + 1, now, caption, digest, photo.kind, photo.data),
            )
            chain.add(self._connection, job_id, "photos", now)
        return int(last) + 1

    def sign(self, job_id: int, by: str) -> None:
        """Sign a job: nothing of it can be changed afterwards, and the seals of its runs are kept with it."""
        by = _within(by.strip(), MOST_NAME, "The name")
        if not by:
            raise UsageError("A signature needs a name.", "Name who signs: --by NAME.")
        with plain_errors(self._path), transaction(self._connection):
            self._open(job_id)
            seals, now = chain.seals_of(self._connection, job_id), utc_now()
            if seals == "{}":
                raise UsageError(f"Job {job_id} has no attempt yet.", "Run the part with --job first.")
            statement = "UPDATE jobs SET signed_by = ?, signed_at = ?, signed_seals = ? WHERE id = ?"
            self._connection.execute(statement, (by, now, seals, job_id))
            chain.add(self._connection, job_id, "texts", now)

    def _open(self, job_id: int) -> str:
        """Return what was done in a job so far; UsageError when it is not there, or signed."""
        query = "SELECT done, signed_by, signed_at FROM jobs WHERE id = ?"
        row = self._connection.execute(query, (job_id,)).fetchone()
        if row is None:
            raise self._no_job(job_id)
        if row[2]:
            raise UsageError(
                f"Job {job_id} was signed by {row[1]}. It can no longer be changed.",
                "Open a new job: `job new`.",
            )
        return str(row[0])

    def _no_job(self, job_id: int) -> UsageError:
        return UsageError(f"The job book {self._path} has no job {job_id}.", "`strokebench job list`.")

    def check_open(self, job_id: int) -> Job:
        """Return a job that a run may be added to; UsageError otherwise."""
        with plain_errors(self._path):
            if self._there():
                self._open(job_id)
        return self.get(job_id)

    def _there(self) -> bool:
        """False for a book of a version that knew no jobs, opened for reading."""
        return schema.version_of(self._connection) >= schema.WITH_JOBS

    def all(self) -> list[Job]:
        """Return all jobs, newest first."""
        with plain_errors(self._path):
            if not self._there():
                return []
            rows = self._connection.execute("SELECT id FROM jobs ORDER BY id DESC").fetchall()
            return [self._read(typed.whole(row[0], "the number of a job")) for row in rows]

    def get(self, job_id: int) -> Job:
        """Return a job."""
        with plain_errors(self._path):
            if not self._there():
                raise self._no_job(job_id)
            return self._read(job_id)

    def of_run(self, run_id: int) -> int | None:
        """Return the number of the job that a run belongs to, None when it has none."""
        with plain_errors(self._path):
            if not self._there():
                return None
            query = "SELECT job_id FROM attempts WHERE run_id = ?"
            row = self._connection.execute(query, (run_id,)).fetchone()
            return None if row is None else typed.whole(row[0], "the job of a run")

    def _read(self, job_id: int) -> Job:
        query = f"SELECT {', '.join(_JOB)} FROM jobs WHERE id = ?"
        row = self._connection.execute(query, (job_id,)).fetchone()
        if row is None:
            raise self._no_job(job_id)
        what = f"job {job_id}"
        texts: dict[str, Any] = {name: typed.text(value, what) for name, value in zip(_JOB, row, strict=True)}
        counted = self._connection.execute("SELECT count(*) FROM photos WHERE job_id = ?", (job_id,))
        return Job(
            job_id=job_id,
            attempts=self._attempts(job_id),
            photo_count=int(counted.fetchone()[0]),
            seal=chain.newest_seal(self._connection, job_id),
            **texts,
        )

    def _attempts(self, job_id: int) -> tuple[Attempt, ...]:
        rows = self._connection.execute("SELECT run_id, role FROM attempts WHERE job_id = ?", (job_id,))
        roles = dict(rows.fetchall())
        condition = "id IN (SELECT run_id FROM attempts WHERE job_id = ?)"
        runs = contents.summaries_where(self._connection, [condition], [job_id], "ORDER BY id")
        for role in roles.values():
            if role not in ROLES:
                raise typed.damaged(f"an attempt of job {job_id}")
        return tuple(Attempt(roles[run.run_id], run) for run in runs)

    def photos(self, job_id: int) -> list[JobPhoto]:
        """Return the photos of a job in order."""
        query = """SELECT number, added_at, caption, original, kind, data FROM photos WHERE job_id = ?
            ORDER BY number LIMIT ?"""
        with plain_errors(self._path):
            rows = self._connection.execute(query, (job_id, MOST_PHOTOS)).fetchall()
        return [photo_of(row, f"a photo of job {job_id}") for row in rows]

    def find_seal(self, digits: str) -> tuple[int, str, str] | None:
        """Return job, what was sealed and when, for a seal's first 16 or more hexadecimal digits."""
        query = "SELECT job_id, what, made_at FROM job_seals WHERE substr(hex(link), 1, ?) = ?"
        with plain_errors(self._path):
            if not self._there():
                return None
            wanted = digits.strip().upper()
            row = self._connection.execute(query, (len(wanted), wanted)).fetchone()
        return None if row is None else (int(row[0]), str(row[1]), str(row[2]))


def photo_of(row: tuple[Any, ...], what: str) -> JobPhoto:
    """Return the photo in a row of number, time, caption, original, kind and data; BookError when damaged."""
    number, added_at, caption, original, kind, data = row
    photo = Photo(kind, data) if isinstance(kind, str) and isinstance(data, bytes) else Photo("", b"")
    if not photo.usable:
        raise typed.damaged(what)
    return JobPhoto(
        typed.whole(number, what),
        typed.text(added_at, what),
        typed.text(caption, what),
        typed.text(original, what),
        photo,
    )


def _fitting(name: str, text: str) -> str:
    if name not in TEXTS:
        raise UsageError(f"A job has no {name!r}.", f"It has: {', '.join(TEXTS)}.")
    return _within(text.strip(), TEXTS[name], TITLES[name])


def _within(text: str, most: int, title: str) -> str:
    if len(text) > most:
        raise UsageError(f"{title} has {len(text)} letters, at most {most} fit.", "Say it shorter.")
    return text

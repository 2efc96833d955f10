"""Saving the jobs of a damaged or foreign book into a new one."""

from __future__ import annotations

import sqlite3
from typing import Any

from strokebench.book import typed, upgrade
from strokebench.book.jobs import chain
from strokebench.book.jobs.model import ROLES, TEXTS
from strokebench.book.jobs.store import photo_of
from strokebench.errors import BookError


def save_jobs(old: sqlite3.Connection, new: sqlite3.Connection, lost: list[str]) -> int:
    """Copy every readable job; return how many. Belongs into a transaction of ``new``, after its runs.

    They are sealed anew, without signature: it was given to seals that the runs no longer carry.
    """
    kinds = dict(old.execute("SELECT name, type FROM sqlite_master").fetchall())
    if any(kinds.get(name) != "table" for name in ("jobs", "attempts", "photos")):
        return 0
    count = 0
    for (job_id,) in _read(old, "SELECT id FROM jobs ORDER BY id", (), "Jobs", lost):
        if isinstance(job_id, int):
            _job(old, new, job_id, lost)
            count += 1
    return count


def _job(old: sqlite3.Connection, new: sqlite3.Connection, job_id: int, lost: list[str]) -> None:
    what, now = f"Job {job_id}", upgrade.utc_now()
    names = ("opened_at", *TEXTS, "signed_by")
    rows = _read(old, f"SELECT {', '.join(names)} FROM jobs WHERE id = ?", (job_id,), what, lost)
    found = dict(zip(names, rows[0], strict=True)) if rows else {}
    values = {name: _text(found.get(name), f"{what}, {name}", lost) for name in names}
    signed = values.pop("signed_by")
    if signed:
        lost.append(f"{what}: the signature of {signed} is not carried over.")
    values |= {"uid": upgrade.new_uid()}
    marks = ", ".join("?" * (len(values) + 1))
    new.execute(f"INSERT INTO jobs(id, {', '.join(values)}) VALUES ({marks})", (job_id, *values.values()))
    _attempts(old, new, job_id, lost)
    _photos(old, new, job_id, lost)
    chain.begin(new, job_id, now)


def _attempts(old: sqlite3.Connection, new: sqlite3.Connection, job_id: int, lost: list[str]) -> None:
    query, what = "SELECT run_id, role, added_at FROM attempts WHERE job_id = ?", f"Job {job_id}, attempts"
    for run_id, role, added_at in _read(old, query, (job_id,), what, lost):
        there = new.execute("SELECT 1 FROM runs WHERE id = ?", (run_id,)).fetchone()
        if there is None or role not in ROLES:
            lost.append(f"{what}: run {run_id} cannot be read.")
            continue
        statement = "INSERT OR IGNORE INTO attempts(run_id, job_id, role, added_at) VALUES (?, ?, ?, ?)"
        new.execute(statement, (run_id, job_id, role, str(added_at)))


def _photos(old: sqlite3.Connection, new: sqlite3.Connection, job_id: int, lost: list[str]) -> None:
    query = """SELECT number, added_at, caption, original, kind, data FROM photos WHERE job_id = ?
        ORDER BY number"""
    what = f"Job {job_id}, photos"
    for row in _read(old, query, (job_id,), what, lost):
        try:
            photo_of(row, what)
        except BookError:
            lost.append(f"{what}: one of them cannot be read.")
            continue
        new.execute(
            """INSERT INTO photos(job_id, number, added_at, caption, original, kind, data)
            VALUES (?, ?, ?, ?, ?, ?, ?)""",
            (job_id, *row),
        )


def _text(value: Any, what: str, lost: list[str]) -> str:
    try:
        return typed.text(value, what)
    except BookError:
        lost.append(f"{what}: it cannot be read.")
        return ""


def _read(
    old: sqlite3.Connection, query: str, values: tuple[Any, ...], what: str, lost: list[str]
) -> list[tuple[Any, ...]]:
    try:
        return old.execute(query, values).fetchall()
    except sqlite3.DatabaseError:
        lost.append(f"{what}: some cannot be read.")
        return []

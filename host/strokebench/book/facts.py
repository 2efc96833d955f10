"""What a job book keeps besides runs and jobs, by name: its golden parts, and what they said last."""

from __future__ import annotations

import json
import sqlite3
from typing import Any, NamedTuple

from strokebench.book import typed
from strokebench.data.identity import identity_of

GOLDEN = "golden parts"


class Golden(NamedTuple):
    """A part that is kept to check the bench; ``reference``: runs that its middle is taken from."""

    part: str
    serial: str
    reference: int


def fact(connection: sqlite3.Connection, name: str) -> Any:
    """Return what was kept under a name, None for nothing; BookError when it is damaged."""
    row = connection.execute("SELECT value FROM facts WHERE name = ?", (name,)).fetchone()
    if row is None:
        return None
    return typed.table(row[0], name).get("is")


def keep(connection: sqlite3.Connection, name: str, value: Any) -> None:
    """Keep a value under a name; belongs into a transaction."""
    text = json.dumps({"is": value})
    connection.execute("INSERT OR REPLACE INTO facts VALUES (?, ?)", (name, text))


def golden_parts(connection: sqlite3.Connection) -> list[Golden]:
    """Return the golden parts, in the order in which they were declared; BookError when one is damaged."""
    found = fact(connection, GOLDEN) or []
    try:
        return [Golden(str(part), str(serial), int(reference)) for part, serial, reference in found]
    except (TypeError, ValueError):
        raise typed.damaged("the list of golden parts") from None


def bench_of(connection: sqlite3.Connection, run_id: int) -> str:
    """Return the identity of the bench that made a run, empty where the run does not say."""
    text = connection.execute("SELECT info FROM runs WHERE id = ?", (run_id,)).fetchone()[0]
    info = typed.table(text, f"what is known about the bench of run {run_id}")
    return str(identity_of(info).get("uid", ""))

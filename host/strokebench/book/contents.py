"""The contents of a job book: a line for each run."""

from __future__ import annotations

import os
import socket
import sqlite3
from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields
from operator import itemgetter
from typing import Any

from strokebench.book import typed
from strokebench.data.findings import Verdict


@dataclass(slots=True)  # not frozen, which makes each of a hundred thousand three times as slow to fill
class RunSummary:
    """One line of the book's contents. Times are ISO 8601 UTC; ``verdict`` is None while not judged."""

    run_id: int
    started_at: str
    part: str
    kind: str
    part_serial: str
    customer: str
    note: str
    outcome: str
    verdict: str | None
    samples: int
    duration_s: float


def summaries(connection: sqlite3.Connection, run_id: int | None = None) -> list[RunSummary]:
    """Return all runs, or the one asked for, oldest first."""
    conditions, values = ([], []) if run_id is None else (["id = ?"], [run_id])
    return summaries_where(connection, conditions, values, "ORDER BY id")


def summaries_where(
    connection: sqlite3.Connection, conditions: Sequence[str], values: Sequence[Any], tail: str
) -> list[RunSummary]:
    """Return the runs for which all SQL ``conditions`` hold; ``tail`` orders and limits them."""
    names = tuple(each.name for each in fields(RunSummary))
    return list(map(RunSummary, *columns_where(connection, names, conditions, values, tail).values()))


_TEXT_OR_NOTHING, _NUMBER_OR_NOTHING = typed.TEXT | typed.NOTHING, typed.NUMBER | typed.NOTHING
_STORED = {
    "run_id": ("id", typed.WHOLE),
    "verdict": ("verdict", _TEXT_OR_NOTHING),
    "samples": ("samples", typed.WHOLE),
    "duration_s": ("last_s - first_s", _NUMBER_OR_NOTHING),
    "writer": ("CASE outcome WHEN 'running' THEN writer ELSE '' END", typed.TEXT),
}
"""How a column is read, and the kinds of its values as this program writes them; a text's is its own name."""


def columns_where(
    connection: sqlite3.Connection,
    names: Sequence[str],
    conditions: Sequence[str],
    values: Sequence[Any],
    tail: str,
) -> dict[str, Sequence[Any]]:
    """Return fields of :class:`RunSummary` as columns, one value a run; without ``tail`` newest first.

    Sorting here is twice as quick as in SQLite, which then reads the rows as they lie in the file.
    """
    stored = {name: _STORED.get(name, (name, typed.TEXT)) for name in dict.fromkeys((*_NEEDED, *names))}
    where = f" WHERE {' AND '.join(conditions)}" if conditions else ""
    query = f"SELECT {', '.join(sql for sql, _ in stored.values())} FROM runs{where} {tail}"
    kinds = [kinds for _, kinds in stored.values()]
    with typed.no_collection():
        rows = typed.rows(connection, query, values)
        columns = list(zip(*rows, strict=True))
        if not all(map(typed.as_written, columns, kinds)) or not _JUDGED.issuperset(
            columns[3] if rows else ()
        ):
            rows = [_checked(row, kinds) for row in rows]
        if not tail:
            rows.sort(key=itemgetter(0), reverse=True)
            rows.sort(key=itemgetter(1), reverse=True)  # keeps the order of runs begun at once
        columns = list(zip(*rows, strict=True)) or [()] * len(stored)
        found: dict[str, Sequence[Any]] = dict(zip(stored, columns, strict=True))
    if "running" in found["outcome"]:
        found["outcome"] = tuple(map(_outcome, found["outcome"], found["writer"]))
    if "duration_s" in names:
        found["duration_s"] = [each or 0.0 for each in found["duration_s"]]
    return {name: found[name] for name in names}


_NEEDED = ("run_id", "started_at", "outcome", "verdict", "writer")
"""What sorts the rows and tells how a run ended."""


def _outcome(outcome: str, writer: str) -> str:
    return "cut" if outcome == "running" and not writer_lives(writer) else outcome


def _checked(row: tuple[Any, ...], kinds: Sequence[frozenset[type]]) -> tuple[Any, ...]:
    """Return the row as it is; :class:`BookError` where a value is not of its kinds."""
    what = f"run {typed.whole(row[0], 'the number of a run')}"
    if row[3] not in _JUDGED:
        raise typed.damaged(f"the verdict of {what}")
    return tuple(_CHECKS[kind](value, what) for value, kind in zip(row, kinds, strict=True))


_CHECKS: dict[frozenset[type], Callable[[Any, str], Any]] = {
    typed.WHOLE: typed.whole,
    typed.TEXT: typed.text,
    _TEXT_OR_NOTHING: lambda value, what: value if value is None else typed.text(value, what),
    _NUMBER_OR_NOTHING: typed.number_or_none,
}


RUN_VERDICTS = tuple(verdict.value for verdict in Verdict if verdict is not Verdict.INFO)
_JUDGED = frozenset((None, *RUN_VERDICTS))


def writer_lives(writer: str) -> bool:
    """Tell whether the process that writes a run may still be at work; on another computer: assume so."""
    host, _, process = writer.rpartition(":")
    if host != socket.gethostname():
        return bool(host)
    if not process.isdecimal() or not 0 < int(process[:12]) < 2**31:
        return False
    if os.name == "nt":  # os.kill would end it there
        return int(process) == os.getpid()
    try:
        os.kill(int(process), 0)
    except ProcessLookupError:
        return False
    except PermissionError:
        return True
    return True

"""The contents of a job book: a line for each run."""

from __future__ import annotations

import os
import socket
import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass
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


_SUMMARY = """
    SELECT id, started_at, part, kind, part_serial, customer, note, outcome, verdict,
        CASE outcome WHEN 'running' THEN writer ELSE '' END, samples, last_s - first_s FROM runs
"""


def summaries(connection: sqlite3.Connection, run_id: int | None = None) -> list[RunSummary]:
    """Return all runs, or the one asked for, oldest first."""
    conditions, values = ([], []) if run_id is None else (["id = ?"], [run_id])
    return summaries_where(connection, conditions, values, "ORDER BY id")


def summaries_where(
    connection: sqlite3.Connection, conditions: Sequence[str], values: Sequence[Any], tail: str
) -> list[RunSummary]:
    """Return the runs for which all SQL ``conditions`` hold; ``tail`` orders and limits them."""
    where = f" WHERE {' AND '.join(conditions)}" if conditions else ""
    with typed.no_collection():
        rows = typed.rows(connection, f"{_SUMMARY}{where} {tail}", values)
        columns = list(zip(*rows, strict=True))
        if rows and all(map(typed.as_written, columns, _KINDS)) and _JUDGED.issuperset(columns[8]):
            return _summaries(columns)
    return [_checked_summary(row) for row in rows]


_KINDS = (
    typed.WHOLE, *[typed.TEXT] * 7, typed.TEXT | typed.NOTHING, typed.TEXT, typed.WHOLE,
    typed.NUMBER | typed.NOTHING,
)  # fmt: skip
"""Kinds of a row's columns as this program writes them."""


def _summaries(columns: Sequence[Sequence[Any]]) -> list[RunSummary]:
    """Return the summaries in ordinary columns, all at once."""
    *kept, outcomes, verdicts, writers, counts, durations = columns
    if "running" in outcomes:
        outcomes = list(map(_outcome, outcomes, writers))
    return list(map(RunSummary, *kept, outcomes, verdicts, counts, [each or 0.0 for each in durations]))


def _outcome(outcome: str, writer: str) -> str:
    return "cut" if outcome == "running" and not writer_lives(writer) else outcome


def _checked_summary(row: tuple[Any, ...]) -> RunSummary:
    run_id, started_at, part, kind, serial, customer, note, outcome, verdict, writer, count, duration_s = row
    what = f"run {typed.whole(run_id, 'the number of a run')}"
    outcome = _outcome(typed.text(outcome, what), typed.text(writer, what))
    if verdict is not None and verdict not in RUN_VERDICTS:
        raise typed.damaged(f"the verdict of {what}")
    return RunSummary(
        run_id=run_id,
        started_at=typed.text(started_at, what),
        part=typed.text(part, what),
        kind=typed.text(kind, what),
        part_serial=typed.text(serial, what),
        customer=typed.text(customer, what),
        note=typed.text(note, what),
        outcome=outcome,
        verdict=verdict,
        samples=typed.whole(count, what),
        duration_s=typed.number_or_none(duration_s, what) or 0.0,
    )


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

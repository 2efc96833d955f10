"""Reading runs back out of the job book."""

from __future__ import annotations

import json
import math
import os
import socket
import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from strokebench.book.packing import unpack_floats, unpack_samples
from strokebench.data.findings import Finding, Verdict
from strokebench.data.run import Burst, Event, Mark, RunData
from strokebench.data.samples import Samples, empty


@dataclass(frozen=True)
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
    SELECT id, started_at, part, kind, part_serial, customer, note, outcome, verdict, writer, samples,
        last_s - first_s FROM runs
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
    rows = connection.execute(f"{_SUMMARY}{where} {tail}", values).fetchall()
    return [_summary(row) for row in rows]


def _summary(row: tuple[Any, ...]) -> RunSummary:
    run_id, started_at, part, kind, serial, customer, note, outcome, verdict, writer, count, duration_s = row
    if outcome == "running" and not writer_lives(writer):
        outcome = "cut"
    head = (run_id, started_at, part, kind, serial, customer, note)
    return RunSummary(*head, outcome, verdict, count, duration_s or 0.0)


def writer_lives(writer: str) -> bool:
    """Tell whether the process that writes a run may still be at work; on another computer: assume so."""
    host, _, process = writer.rpartition(":")
    if host != socket.gethostname():
        return bool(host)
    if os.name == "nt":  # os.kill would end it there
        return int(process) == os.getpid()
    try:
        os.kill(int(process), 0)
    except ProcessLookupError:
        return False
    except PermissionError:
        return True
    return True


def load(connection: sqlite3.Connection, run_id: int) -> RunData:
    """Return everything recorded of a run; info carries the book's columns too."""
    rows = samples(connection, run_id)
    last_s = float(rows["time_s"][-1]) if len(rows) else 0.0
    row = connection.execute("SELECT info, accuracy, started_at FROM runs WHERE id = ?", (run_id,)).fetchone()
    summary = summaries(connection, run_id)[0]
    info = {**json.loads(row[0]), **{name: getattr(summary, name) for name in _KEPT}}
    return RunData(
        samples=rows,
        marks=_marks(connection, run_id, last_s),
        events=_events(connection, run_id),
        bursts=_bursts(connection, run_id),
        accuracy=json.loads(row[1]),
        info=info,
    )


_KEPT = ("run_id", "started_at", "part", "kind", "part_serial", "customer", "note", "outcome", "verdict")


def samples(connection: sqlite3.Connection, run_id: int) -> Samples:
    """Return all samples of a run in order of time."""
    query = "SELECT columns, count FROM batches WHERE run_id = ? ORDER BY number"
    pieces = [unpack_samples(blob, count) for blob, count in connection.execute(query, (run_id,))]
    return np.concatenate(pieces) if pieces else empty()


def _marks(connection: sqlite3.Connection, run_id: int, last_s: float) -> list[Mark]:
    query = "SELECT label, start_s, end_s, number, kind FROM marks WHERE run_id = ? ORDER BY start_s, number"
    rows = connection.execute(query, (run_id,))
    return [
        Mark(label, start, last_s if end is None else end, n, kind) for label, start, end, n, kind in rows
    ]


def _events(connection: sqlite3.Connection, run_id: int) -> list[Event]:
    query = "SELECT time_s, kind, code, text FROM events WHERE run_id = ? ORDER BY id"
    return [Event(*row) for row in connection.execute(query, (run_id,))]


def _bursts(connection: sqlite3.Connection, run_id: int) -> list[Burst]:
    query = "SELECT channel, unit, rate_hz, start_s, numbers, label FROM bursts WHERE run_id = ? ORDER BY id"
    rows = connection.execute(query, (run_id,))
    return [
        Burst(name, unit, rate, at, unpack_floats(raw), label) for name, unit, rate, at, raw, label in rows
    ]


def findings(connection: sqlite3.Connection, run_id: int) -> list[Finding]:
    """Return the findings of a run in the order they were written."""
    query = f"SELECT {FINDING_COLUMNS} FROM findings WHERE run_id = ? ORDER BY id"
    return [finding_of(row) for row in connection.execute(query, (run_id,))]


FINDING_COLUMNS = ", ".join(
    f"findings.{name}"
    for name in ("key", "title", "value", "u", "unit", "lower", "upper", "verdict", "reason", "place",
                 "fault", "evidence", "span_start_s", "span_end_s")
)  # fmt: skip
"""What :func:`finding_of` makes a finding from."""


def finding_of(row: tuple[Any, ...]) -> Finding:
    """Return the finding in a row of :data:`FINDING_COLUMNS`."""
    key, title, value, u, unit, lower, upper, verdict, reason, place, fault, evidence, start_s, end_s = row
    return Finding(
        key,
        title,
        math.nan if value is None else value,
        math.nan if u is None else u,
        unit,
        lower,
        upper,
        Verdict(verdict),
        reason,
        None if start_s is None else (start_s, end_s),
        place,
        fault,
        json.loads(evidence),
    )

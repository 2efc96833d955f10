"""Reading runs back out of the job book."""

from __future__ import annotations

import math
import os
import socket
import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from strokebench.book import typed
from strokebench.book.packing import unpack_floats, unpack_samples
from strokebench.data.findings import Finding, Verdict
from strokebench.data.run import Burst, Event, Mark, RunData
from strokebench.data.samples import Samples, empty
from strokebench.errors import BookError


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
    return [_summary(row) for row in typed.rows(connection, f"{_SUMMARY}{where} {tail}", values)]


_ORDINARY = frozenset(
    (int, *[str] * 7, verdict, str, int, duration)
    for verdict in (str, type(None))
    for duration in (float, type(None))
)
"""Kinds of a row's columns as this program writes them."""


def _summary(row: tuple[Any, ...]) -> RunSummary:
    """Return the summary in a row; an ordinary row is taken as it is, another looked at piece by piece."""
    if tuple(map(type, row)) not in _ORDINARY or row[7] == "running" or row[8] not in _JUDGED:
        return _checked_summary(row)
    run_id, at, part, kind, serial, customer, note, outcome, verdict, _writer, count, duration_s = row
    if max(map(len, row[1:8])) > typed.MOST_TEXT or not (0 <= row[0] <= typed.MOST_WHOLE >= count >= 0):
        return _checked_summary(row)
    if duration_s is not None and not abs(duration_s) <= 1e300:
        return _checked_summary(row)
    return RunSummary(
        run_id, at, part, kind, serial, customer, note, outcome, verdict, count, duration_s or 0.0
    )


def _checked_summary(row: tuple[Any, ...]) -> RunSummary:
    run_id, started_at, part, kind, serial, customer, note, outcome, verdict, writer, count, duration_s = row
    what = f"run {typed.whole(run_id, 'the number of a run')}"
    if typed.text(outcome, what) == "running" and not writer_lives(typed.text(writer, what)):
        outcome = "cut"
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


def load(connection: sqlite3.Connection, run_id: int, until_s: float | None = None) -> RunData:
    """Return everything recorded of a run; info carries the book's columns too.

    ``until_s``: only the batches of samples that begin before.

    Batches and captures that are damaged are left out, and named in ``info["damaged"]``.
    """
    damaged: list[str] = []
    rows = samples(connection, run_id, damaged, until_s)
    last_s = float(rows["time_s"][-1]) if len(rows) else 0.0
    query = "SELECT info, accuracy, uid, sealed_at FROM runs WHERE id = ?"
    about, accuracy, uid, sealed_at = connection.execute(query, (run_id,)).fetchone()
    summary = summaries(connection, run_id)[0]
    what = f"run {run_id}"
    info = typed.table(about, f"what is known about the bench of {what}")
    info |= {name: getattr(summary, name) for name in _KEPT}
    info |= {"uid": typed.text(uid, what), "sealed_at": typed.text(sealed_at, what)}
    info["seal"] = newest_seal(connection, run_id)
    data = RunData(
        samples=rows,
        marks=_marks(connection, run_id, last_s),
        events=_events(connection, run_id),
        bursts=_bursts(connection, run_id, damaged),
        accuracy=accuracy_of(accuracy, what),
        info=info,
    )
    if damaged:
        info["damaged"] = damaged
    return data


_KEPT = ("run_id", "started_at", "part", "kind", "part_serial", "customer", "note", "outcome", "verdict")


def newest_seal(connection: sqlite3.Connection, run_id: int) -> str:
    """Return the newest link of the run's chains as hexadecimal digits, empty when it has none."""
    query = "SELECT link FROM seals WHERE run_id = ? ORDER BY number DESC LIMIT 1"
    row = connection.execute(query, (run_id,)).fetchone()
    return row[0].hex() if row is not None and isinstance(row[0], bytes) else ""


def accuracy_of(value: Any, what: str) -> dict[str, dict[str, float]]:
    """Return a run's accuracy; BookError when it is none."""
    found = typed.table(value, f"the accuracy of {what}")
    for channel in found.values():
        if not isinstance(channel, dict):
            raise typed.damaged(f"the accuracy of {what}")
        for each in channel.values():
            typed.number(each, f"the accuracy of {what}")
    return found


def samples(
    connection: sqlite3.Connection,
    run_id: int,
    damaged: list[str] | None = None,
    until_s: float | None = None,
) -> Samples:
    """Return all samples of a run in order of time; batches that cannot be read go into ``damaged``."""
    query = """SELECT columns, count, number FROM batches WHERE run_id = ?1 AND (?2 IS NULL OR first_s < ?2)
        ORDER BY number"""
    pieces, last_s = [], -math.inf
    for blob, count, number in connection.execute(query, (run_id, until_s)):
        try:
            rows = unpack_samples(blob, count)
            if not len(rows) or not rows["time_s"][0] > last_s or not np.all(np.diff(rows["time_s"]) > 0):
                raise BookError("Its times do not go on.")
        except BookError:
            if damaged is None:
                raise
            damaged.append(f"batch {number}")
            continue
        pieces.append(rows)
        last_s = float(rows["time_s"][-1])
    return np.concatenate(pieces) if pieces else empty()


def _marks(connection: sqlite3.Connection, run_id: int, last_s: float) -> list[Mark]:
    query = "SELECT label, start_s, end_s, number, kind FROM marks WHERE run_id = ? ORDER BY start_s, number"
    what = f"a segment of run {run_id}"
    return [
        Mark(
            typed.text(label, what), typed.number(start, what),
            last_s if end is None else typed.number(end, what), typed.whole(n, what), typed.text(kind, what),
        )
        for label, start, end, n, kind in connection.execute(query, (run_id,))
    ]  # fmt: skip


def _events(connection: sqlite3.Connection, run_id: int) -> list[Event]:
    query = "SELECT time_s, kind, code, text FROM events WHERE run_id = ? ORDER BY id"
    what = f"an event of run {run_id}"
    return [
        Event(typed.number(at, what), typed.text(kind, what), typed.whole(code, what), typed.text(said, what))
        for at, kind, code, said in connection.execute(query, (run_id,))
    ]


def _bursts(connection: sqlite3.Connection, run_id: int, damaged: list[str]) -> list[Burst]:
    query = "SELECT channel, unit, rate_hz, start_s, numbers, label FROM bursts WHERE run_id = ? ORDER BY id"
    found = []
    for number, row in enumerate(connection.execute(query, (run_id,))):
        try:
            found.append(burst_of(row, f"a fast capture of run {run_id}"))
        except BookError:
            damaged.append(f"fast capture {number}")
    return found


def burst_of(row: tuple[Any, ...], what: str) -> Burst:
    """Return a fast capture from channel, unit, rate, start, numbers and label; BookError when it is none."""
    channel, unit, rate_hz, start_s, blob, label = row
    rate, values = typed.number(rate_hz, what), unpack_floats(blob)
    if not 1 <= rate <= FASTEST_HZ or not len(values) or not np.all(np.isfinite(values)):
        raise typed.damaged(what)
    head = (typed.text(channel, what), typed.text(unit, what), rate, typed.number(start_s, what))
    return Burst(*head, values, typed.text(label, what))


FASTEST_HZ = 10e6
"""No capture is faster: the converter gives 500 000 values a second, recordings from elsewhere the same."""


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
    """Return the finding in a row of :data:`FINDING_COLUMNS`; :class:`BookError` when it is damaged."""
    key, title, value, u, unit, lower, upper, verdict, reason, place, fault, evidence, start_s, end_s = row
    what = f"the finding {key!r}" if isinstance(key, str) else "a finding"
    try:
        judged = Verdict(verdict)
    except ValueError:
        raise typed.damaged(what) from None
    span = (typed.number_or_none(start_s, what), typed.number_or_none(end_s, what))
    return Finding(
        typed.text(key, what),
        typed.text(title, what),
        math.nan if value is None else typed.number(value, what),
        math.nan if u is None else typed.number(u, what),
        typed.text(unit, what),
        typed.number_or_none(lower, what),
        typed.number_or_none(upper, what),
        judged,
        typed.text(reason, what),
        None if span[0] is None or span[1] is None else (span[0], span[1]),
        typed.number_or_none(place, what),
        typed.text(fault, what),
        typed.table(evidence, what),
    )

"""Reading runs back out of the job book."""

from __future__ import annotations

import math
import sqlite3
from typing import Any

import numpy as np

from strokebench.book import typed
from strokebench.book.contents import summaries
from strokebench.book.packing import unpack_floats, unpack_samples
from strokebench.data.findings import Finding, Verdict
from strokebench.data.run import Burst, Event, Mark, RunData
from strokebench.data.samples import SAMPLE_DTYPE, Samples
from strokebench.errors import BookError


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
    return _joined(pieces)


def _joined(pieces: list[Samples]) -> Samples:
    """Return the pieces as one array, copied one by one.

    NumPy's own way compares the columns of each piece with those of the next. For ten minutes that takes half
    a second, and for 0.17 s of it no other thread can run: the panel's STOP would wait.
    """
    joined = np.empty(sum(map(len, pieces)), SAMPLE_DTYPE)
    at = 0
    for piece in pieces:
        joined[at : at + len(piece)] = piece
        at += len(piece)
    return joined


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

"""Writing one run into the job book while it happens."""

from __future__ import annotations

import math
import os
import socket
import sqlite3
from collections.abc import Iterable
from pathlib import Path
from types import TracebackType
from typing import Any

from strokebench.book import items, seal, typed
from strokebench.book.connect import BUSY_MS, plain_errors, transaction
from strokebench.book.packing import pack_floats, pack_samples
from strokebench.book.typed import to_json
from strokebench.book.upgrade import utc_now
from strokebench.data.findings import Finding
from strokebench.data.run import Burst, Event, Mark
from strokebench.data.samples import Samples
from strokebench.errors import BookError

BATCH_S = 0.1
"""No committed batch spans more than this."""
LIVE_BUSY_MS = 50
"""While a part moves, a locked book may hold us up only this long: the heartbeat comes first."""
MAX_PENDING = 6000
"""Statements kept back while the book is locked (about a minute) before the run is given up."""

_INSERT = {
    "batch": "INSERT INTO batches(run_id, number, first_s, last_s, count, columns, sums, link)"
    " VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
    "length": "UPDATE runs SET first_s = coalesce(first_s, ?), last_s = ?, samples = samples + ?"
    " WHERE id = ?",
    "mark": "INSERT OR REPLACE INTO marks VALUES (?, ?, ?, ?, ?, ?)",
    "event": "INSERT INTO events(run_id, time_s, kind, code, text) VALUES (?, ?, ?, ?, ?)",
    "burst": "INSERT INTO bursts(run_id, channel, unit, rate_hz, start_s, label, numbers)"
    " VALUES (?, ?, ?, ?, ?, ?, ?)",
    "finding": "INSERT INTO findings(run_id, key, title, value, u, unit, lower, upper, verdict, reason,"
    " span_start_s, span_end_s, place, fault, evidence) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
}


def writer_name() -> str:
    """Return ``host:process``, by which a run whose writer died is recognised."""
    return f"{socket.gethostname()}:{os.getpid()}"


class RunWriter:
    """One run being recorded; a context manager that closes the run whatever happened.

    Samples are committed in batches of at most 100 ms.  While the book is locked by somebody else, batches
    wait in memory and nothing is lost.  All methods raise :class:`BookError`.
    """

    def __init__(self, connection: sqlite3.Connection, path: Path, run_id: int) -> None:
        self.run_id = run_id
        self._connection = connection
        self._path = path
        self._pending: list[tuple[str, tuple[Any, ...]]] = []
        self._batches = 0
        self._link = b""  # the newest of the record strand, once it is known
        self._marks: dict[int, None] = {}
        self.outcome: str | None = None

    def samples(self, rows: Samples) -> None:
        """Append ``rows`` (time ascending) and commit."""
        start = 0
        while start < len(rows):
            limit_s = rows["time_s"][start] + BATCH_S - 1e-9
            stop = start + max(1, int(rows["time_s"][start:].searchsorted(limit_s)))
            self._batch(rows[start:stop])
            start = stop
        self._flush()

    def _batch(self, rows: Samples) -> None:
        first_s, last_s = float(rows["time_s"][0]), float(rows["time_s"][-1])
        blob = pack_samples(rows)
        item = items.batch(self._batches, first_s, last_s, len(rows), blob)
        self._link = seal.link(self._link or items.last_link(self._connection, self.run_id), item.digest())
        values = (self.run_id, self._batches, first_s, last_s, len(rows), blob, item.sums(), self._link)
        self._batches += 1
        self._pending.append(("batch", values))
        self._pending.append(("length", (first_s, last_s, len(rows), self.run_id)))

    def mark(self, mark: Mark) -> None:
        """Add a segment, or replace it (same start) once its end is known; a NaN end means: still running."""
        end_s = None if math.isnan(mark.end_s) else mark.end_s
        self._pending.append(("mark", (self.run_id, mark.index, mark.label, mark.kind, mark.start_s, end_s)))

    def event(self, event: Event) -> None:
        """Add something the bench said."""
        self._pending.append(("event", (self.run_id, event.time_s, event.kind, event.code, event.text)))

    def burst(self, burst: Burst) -> None:
        """Add a fast capture."""
        head = (self.run_id, burst.channel, burst.unit, burst.rate_hz, burst.start_s, burst.label)
        self._pending.append(("burst", (*head, pack_floats(burst.values))))

    def findings(self, findings: Iterable[Finding], verdict: str | None = None) -> None:
        """Replace the run's findings and overall verdict."""
        statements = [("finding", _finding_values(self.run_id, finding)) for finding in findings]
        with plain_errors(self._path):
            self._transaction([*self._take(), *statements], verdict=verdict, replace=True)

    def info(self, **more: Any) -> None:
        """Add to the run's info (JSON), e.g. the loss counted at its end."""
        with plain_errors(self._path):
            execute = self._connection.execute
            found = execute("SELECT info FROM runs WHERE id = ?", (self.run_id,)).fetchone()[0]
            known = typed.table(found, f"what is known about run {self.run_id}")
            with transaction(self._connection):
                text = to_json({**known, **more})
                execute("UPDATE runs SET info = ? WHERE id = ?", (text, self.run_id))
                items.say(self._connection, self.run_id, "info", utc_now())

    def finish(self, outcome: str) -> None:
        """Commit what is pending and close the run as ``done``, ``stopped``, ``fault`` or the like."""
        self.outcome = outcome
        with plain_errors(self._path):
            self._transaction(self._take(), outcome=outcome)

    def _take(self) -> list[tuple[str, tuple[Any, ...]]]:
        taken, self._pending = self._pending, []
        return taken

    def _flush(self) -> None:
        """Commit what is pending; when somebody else holds the book, keep it for the next time."""
        with plain_errors(self._path):
            self._connection.execute(f"PRAGMA busy_timeout = {LIVE_BUSY_MS}")
            try:
                self._transaction(self._pending)
                self._pending = []
            except sqlite3.OperationalError as error:
                if "locked" not in str(error) or len(self._pending) > MAX_PENDING:
                    raise
            finally:
                self._connection.execute(f"PRAGMA busy_timeout = {BUSY_MS}")

    def _transaction(
        self,
        statements: list[tuple[str, tuple[Any, ...]]],
        *,
        outcome: str | None = None,
        verdict: str | None = None,
        replace: bool = False,
    ) -> None:
        execute = self._connection.execute
        with transaction(self._connection):
            if replace:
                execute("DELETE FROM findings WHERE run_id = ?", (self.run_id,))
                execute("UPDATE runs SET verdict = ? WHERE id = ?", (verdict, self.run_id))
            for name, values in statements:
                execute(_INSERT[name], values)
            now = utc_now()
            if outcome is not None:
                change = "UPDATE runs SET outcome = ?, ended_at = ? WHERE id = ?"
                execute(change, (outcome, now, self.run_id))
                items.close(self._connection, self.run_id, now)
            query = "SELECT verdict IS NOT NULL FROM runs WHERE id = ?"
            # judged before its end: the judgement is about what the recording came to
            judged = outcome is not None and execute(query, (self.run_id,)).fetchone()[0]
            if replace or judged:
                items.say(self._connection, self.run_id, "judgement", now)

    def __enter__(self) -> RunWriter:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self.outcome is not None:
            return
        try:
            self.finish(_outcome_of(kind))
        except BookError:
            if kind is None:  # else the first error is the one to tell
                raise


def _outcome_of(kind: type[BaseException] | None) -> str:
    if kind is None:
        return "done"
    return "interrupted" if issubclass(kind, KeyboardInterrupt) else "cut"


def _finding_values(run_id: int, finding: Finding) -> tuple[Any, ...]:
    start_s, end_s = finding.span_s or (None, None)
    value, u = (None if math.isnan(number) else number for number in (finding.value, finding.u))
    head = (run_id, finding.key, finding.title, value, u, finding.unit, finding.lower, finding.upper)
    tail = (start_s, end_s, finding.place, finding.fault, to_json(finding.evidence))
    return (*head, finding.verdict.value, finding.reason, *tail)

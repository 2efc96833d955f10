"""Finding runs in a job book, and one finding over repeats of the same part."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass

from strokebench.book.reader import FINDING_COLUMNS, RunSummary, finding_of, summaries_where
from strokebench.data.findings import Finding


@dataclass(frozen=True)
class Wanted:
    """What to look for; empty fields do not count. Dates are ISO 8601; ``text``: in note or customer."""

    part: str = ""
    part_serial: str = ""
    customer: str = ""
    verdict: str = ""
    since: str = ""
    until: str = ""
    text: str = ""
    limit: int = 0

    def conditions(self) -> tuple[list[str], list[str]]:
        """Return SQL conditions and their values."""
        pairs = [
            ("part = ?", self.part),
            ("part_serial = ?", self.part_serial),
            ("customer = ?", self.customer),
            ("verdict = ?", self.verdict),
            ("started_at >= ?", self.since),
            ("started_at < ?", _after(self.until)),
        ]
        found = [(condition, value) for condition, value in pairs if value]
        if self.text:
            like = "%" + self.text.replace("\\", "\\\\").replace("%", "\\%").replace("_", "\\_") + "%"
            both = r"(note LIKE ? ESCAPE '\' OR customer LIKE ? ESCAPE '\')"
            found_values = [value for _, value in found]
            return [*(condition for condition, _ in found), both], [*found_values, like, like]
        return [condition for condition, _ in found], [value for _, value in found]


def _after(until: str) -> str:
    # a bare day means the whole of it: "~" sorts behind everything that can follow a date
    return f"{until}~" if until else ""


def find(connection: sqlite3.Connection, wanted: Wanted) -> list[RunSummary]:
    """Return the runs that match, newest first."""
    conditions, values = wanted.conditions()
    tail = "ORDER BY started_at DESC, id DESC" + (f" LIMIT {int(wanted.limit)}" if wanted.limit else "")
    return summaries_where(connection, conditions, values, tail)


@dataclass(frozen=True)
class TrendPoint:
    """One run's value of the finding asked for; ``value`` and ``u`` are NaN where it could not be found."""

    run_id: int
    started_at: str
    part_serial: str
    value: float
    u: float
    unit: str
    lower: float | None
    upper: float | None
    verdict: str


def trend(connection: sqlite3.Connection, key: str, wanted: Wanted) -> list[TrendPoint]:
    """Return finding ``key`` of every run that matches, oldest first."""
    conditions, values = wanted.conditions()
    where = " AND ".join(["findings.key = ?", *(f"runs.{c}" if "(" not in c else c for c in conditions)])
    rows = connection.execute(
        f"""SELECT runs.id, runs.started_at, runs.part_serial, {FINDING_COLUMNS}
            FROM findings JOIN runs ON runs.id = findings.run_id WHERE {where}
            ORDER BY runs.started_at, runs.id""",
        (key, *values),
    )
    return [_point(run_id, at, serial, finding_of(found)) for run_id, at, serial, *found in rows]


def keys(connection: sqlite3.Connection) -> list[str]:
    """Return the keys of all findings in the book."""
    return [row[0] for row in connection.execute("SELECT DISTINCT key FROM findings ORDER BY key")]


def _point(run_id: int, at: str, serial: str, found: Finding) -> TrendPoint:
    return TrendPoint(
        run_id, at, serial, found.value, found.u, found.unit, found.lower, found.upper, found.verdict.value
    )

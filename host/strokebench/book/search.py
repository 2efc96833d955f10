"""Finding runs in a job book, and one finding over repeats of the same part."""

from __future__ import annotations

import math
import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from strokebench.book import typed
from strokebench.book.contents import RunSummary, columns_where, summaries_where
from strokebench.data.findings import Verdict


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
    return summaries_where(connection, *wanted.conditions(), _tail(wanted))


def find_columns(
    connection: sqlite3.Connection, wanted: Wanted, names: Sequence[str]
) -> dict[str, Sequence[Any]]:
    """Return the fields ``names`` of the same runs as columns, which is much quicker for very many."""
    return columns_where(connection, names, *wanted.conditions(), _tail(wanted))


def _tail(wanted: Wanted) -> str:
    return f"ORDER BY started_at DESC, id DESC LIMIT {int(wanted.limit)}" if wanted.limit else ""


@dataclass(slots=True)  # not frozen: see RunSummary
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


_TREND = (
    "runs.id", "runs.started_at", "runs.part_serial", "findings.value", "findings.u", "findings.unit",
    "findings.lower", "findings.upper", "findings.verdict", "findings.evidence",
)  # fmt: skip


def trend(connection: sqlite3.Connection, key: str, wanted: Wanted) -> list[TrendPoint]:
    """Return finding ``key`` of every run that matches, oldest first."""
    conditions, values = wanted.conditions()
    where = " AND ".join(["findings.key = ?", *(f"runs.{c}" if "(" not in c else c for c in conditions)])
    question = f"""SELECT {", ".join(_TREND)} FROM findings JOIN runs ON runs.id = findings.run_id
        WHERE {where} ORDER BY runs.started_at, runs.id"""
    what = f"the finding {key!r}"
    with typed.no_collection():
        rows = typed.rows(connection, question, (key, *values))
        columns = list(zip(*rows, strict=True))
        if rows and all(map(typed.as_written, columns, _KINDS)):
            return _points(columns, what)
    return [_checked_point(row, what) for row in rows]


_MAYBE = typed.NUMBER | typed.NOTHING
_KINDS = (
    typed.WHOLE, typed.TEXT, typed.TEXT, _MAYBE, _MAYBE, typed.TEXT, _MAYBE, _MAYBE, typed.TEXT, typed.TEXT,
)  # fmt: skip
"""Kinds of a row's columns as this program writes them."""


def _points(columns: Sequence[Sequence[Any]], what: str) -> list[TrendPoint]:
    """Return the points in ordinary columns, all at once."""
    numbers, begun, serials, values, us, units, lower, upper, verdicts, evidence = columns
    judged = [_verdict(*each, what) for each in zip(verdicts, lower, upper, evidence, strict=True)]
    values, us = ([math.nan if each is None else each for each in column] for column in (values, us))
    return list(map(TrendPoint, numbers, begun, serials, values, us, units, lower, upper, judged))


def _verdict(verdict: str, lower: float | None, upper: float | None, evidence: Any, what: str) -> str:
    """Return the verdict of a finding; a book of an older version may call one without limits otherwise."""
    if verdict not in _VERDICTS:
        raise typed.damaged(what)
    if lower is None and upper is None and not _stands_against(evidence, what):
        return Verdict.INFO.value
    return Verdict.INCONCLUSIVE.value if verdict == Verdict.INFO.value else verdict


def _checked_point(row: tuple[Any, ...], what: str) -> TrendPoint:
    run_id, at, serial, value, u, unit, lower, upper, verdict, evidence = row
    number, limit = typed.number, typed.number_or_none
    return TrendPoint(
        typed.whole(run_id, what),
        typed.text(at, what),
        typed.text(serial, what),
        math.nan if value is None else number(value, what),
        math.nan if u is None else number(u, what),
        typed.text(unit, what),
        limit(lower, what),
        limit(upper, what),
        _verdict(verdict, lower, upper, evidence, what),
    )


def _stands_against(evidence: Any, what: str) -> bool:
    """Tell whether a finding without limits stands against a pass; see Finding."""
    return '"gate"' in typed.text(evidence, what) and bool(typed.table(evidence, what).get("gate"))


_VERDICTS = {verdict.value for verdict in Verdict}


def titles(connection: sqlite3.Connection) -> dict[str, str]:
    """Return key -> newest title of all findings in the book; looks at a few rows a key only."""
    found: dict[str, str] = {}
    row = connection.execute("SELECT min(key) FROM findings").fetchone()
    while row is not None and row[0] is not None:
        key = typed.text(row[0], "the key of a finding")
        if key in found:  # damaged letters are replaced on reading, and the search would not go on
            raise typed.damaged("the key of a finding")
        query = "SELECT title FROM findings WHERE key = ? ORDER BY run_id DESC LIMIT 1"
        found[key] = typed.text(connection.execute(query, (key,)).fetchone()[0], f"the finding {key!r}")
        row = connection.execute("SELECT min(key) FROM findings WHERE key > ?", (key,)).fetchone()
    return found


def named(known: dict[str, str], name: str) -> list[str]:
    """Return the keys that ``name`` means: the key or title itself, else all whose title it is part of."""
    wanted = name.strip().casefold()
    if name in known:
        return [name]
    whole = [key for key, title in known.items() if title.casefold() == wanted]
    return whole or [key for key, title in known.items() if wanted and wanted in title.casefold()]

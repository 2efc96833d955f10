"""Questions to the lake's findings, answered by DuckDB: exact, whatever their number.

Real and simulated runs are never counted together. Of a run that was judged more than once, the newest
judgement counts.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

from strokebench.errors import BookError, DataError, UsageError
from strokebench.lake.place import Place, needed

QUANTILES = (0.05, 0.25, 0.5, 0.75, 0.95)
BY = ("bench", "shop", "month")
"""What findings can be counted apart by, besides part and finding."""


@dataclass(frozen=True)
class Asked:
    """Which findings; what is empty does not restrict. Months such as 2026-05, both counted in."""

    part: str = ""
    key: str = ""
    since: str = ""
    until: str = ""
    by: str = ""

    def conditions(self) -> tuple[list[str], list[str]]:
        """Return SQL conditions and their values."""
        pairs = (
            ("part = ?", self.part),
            ("key = ?", self.key),
            ("month >= ?", self.since),
            ("month <= ?", self.until),
        )
        return [text for text, value in pairs if value], [value for _, value in pairs if value]


@dataclass(frozen=True)
class Answer:
    """A finding's values over many runs: count, mean, standard deviation, quantiles (:data:`QUANTILES`).

    ``group``: the bench, workshop or month, empty when not counted apart. ``failed``: how many failed.
    """

    part: str
    key: str
    group: str
    simulated: bool
    unit: str
    count: int
    mean: float
    deviation: float
    quantiles: tuple[float, ...]
    failed: int


def quantiles(place: Place, asked: Asked) -> list[Answer]:
    """Return exact quantiles by part and finding. DataError when no finding matches."""
    if asked.by and asked.by not in BY:
        raise UsageError(f"Findings cannot be counted by {asked.by!r}.", f"By: {', '.join(BY)}.")
    conditions, values = asked.conditions()
    group = asked.by or "''"
    where = " AND ".join(["value IS NOT NULL", *conditions])
    levels = ", ".join(map(str, QUANTILES))
    with connected(place) as database:
        query = f"""SELECT part, key, {group} AS group_, simulated, any_value(unit), count(*), avg(value),
            coalesce(stddev_samp(value), 0), quantile_cont(value, [{levels}]),
            count(*) FILTER (verdict = 'fail')
            FROM {newest(place, database)} WHERE {where} GROUP BY ALL ORDER BY ALL"""
        rows = database.execute(query, values).fetchall()
    if not rows:
        raise DataError("No finding in the lake matches.", "Ask for less, or look at part and month.")
    return [_answer(row) for row in rows]


def _answer(row: tuple[Any, ...]) -> Answer:
    part, key, group, simulated, unit, count, mean, deviation, levels, failed = row
    return Answer(part, key, group, simulated, unit, count, mean, deviation, tuple(levels), failed)


@contextmanager
def connected(place: Place) -> Iterator[Any]:
    """Give a DuckDB connection that can read the lake; its errors become a BookError."""
    duckdb = needed("duckdb")
    database = duckdb.connect()
    try:
        database.execute(f"SET threads = {os.cpu_count() or 1}")
        if not place.local:
            database.register_filesystem(place.system)
        yield database
    except duckdb.Error as error:
        raise BookError(f"The lake {place.url} cannot be read: {error}.", "Is a file damaged?") from None
    finally:
        database.close()


def table(place: Place, dataset: str) -> str:
    """Return a dataset as a table in SQL."""
    files = place.named(f"{place.root}/{dataset}/part=*/month=*/*.parquet").replace("'", "''")
    return f"read_parquet('{files}', hive_partitioning = true, hive_types_autocast = false)"


def newest(place: Place, database: Any) -> str:
    """Return the findings as a table in SQL, without those of judgements that a newer one replaced."""
    database.execute(f"""CREATE OR REPLACE TEMP TABLE replaced AS SELECT run, revision FROM (
        SELECT DISTINCT run, revision, max(revision) OVER (PARTITION BY run) AS last
        FROM {table(place, "runs")}) WHERE revision < last""")
    findings = table(place, "findings")
    if not database.execute("SELECT count(*) FROM replaced").fetchone()[0]:
        return findings
    return f"(SELECT * FROM {findings} ANTI JOIN replaced USING (run, revision))"


def rows(place: Place, query: str, values: Sequence[str]) -> list[tuple[Any, ...]]:
    """Return the rows of a question in which ``{findings}``, ``{runs}`` and ``{good}`` are tables."""
    with connected(place) as database:
        tables = {"findings": newest(place, database), "runs": table(place, "runs")}
        if "{good}" in query:
            tables["good"] = table(place, "good")
        found: list[tuple[Any, ...]] = database.execute(query.format(**tables), values).fetchall()
    return found

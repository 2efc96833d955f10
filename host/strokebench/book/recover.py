"""Saving what is readable of a damaged or foreign job book into a new one."""

from __future__ import annotations

import contextlib
import math
import shutil
import sqlite3
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import closing
from pathlib import Path
from typing import Any

import numpy as np

from strokebench.book import contents, reader, typed, upgrade
from strokebench.book.connect import connect, plain_errors, transaction
from strokebench.book.jobs.saving import save_jobs
from strokebench.book.packing import unpack_samples
from strokebench.errors import BookError

RUN_COLUMNS = (
    "started_at", "ended_at", "part", "kind", "part_serial", "customer", "note", "outcome", "verdict",
    "writer", "info", "accuracy", "profile",
)  # fmt: skip
DEFAULTS = {
    "info": "{}",
    "accuracy": "{}",
    "profile": "{}",
    "outcome": "cut",
    "verdict": None,
    "ended_at": None,
}
TABLES = {
    "batches": ("number", "first_s", "last_s", "count", "columns"),
    "marks": ("number", "label", "kind", "start_s", "end_s"),
    "events": ("time_s", "kind", "code", "text"),
    "bursts": ("channel", "unit", "rate_hz", "start_s", "label", "numbers"),
    "findings": ("key", "title", "value", "u", "unit", "lower", "upper", "verdict", "reason", "span_start_s",
                 "span_end_s", "place", "fault", "evidence"),
}  # fmt: skip
FURTHER = 2_000
"""So many row numbers without a row in a sequence, and a table is taken to end."""


def recover(source: Path, target: Path) -> tuple[int, list[str]]:
    """Copy every readable run and job of ``source`` into the new book ``target``; return how many runs, and
    what is lost.

    The runs are sealed anew, and say that this was done afterwards. BookError when the source is no database
    or the target exists.
    """
    if target.exists():
        raise BookError(f"{target} exists already.", "Choose another name for what is recovered.")
    if not source.exists():
        raise BookError(f"There is no file {source}.", "Check the name.")
    lost: list[str] = []
    with plain_errors(source), _bare(source) as old, closing(connect(target)) as new:
        count = 0
        for run_id in _numbers(old, "runs", lost):
            with transaction(new):
                count += _run(old, new, run_id, lost)
        with transaction(new):
            save_jobs(old, new, lost)
    return count, lost


@contextlib.contextmanager
def _bare(source: Path) -> Iterator[sqlite3.Connection]:
    """Open a copy of the file and its log, in which nothing may act, whatever it declares."""
    with tempfile.TemporaryDirectory(prefix="strokebench-", ignore_cleanup_errors=True) as folder:
        for name in (source.name, source.name + "-wal"):
            if (source.parent / name).exists():
                shutil.copyfile(source.parent / name, Path(folder) / name)
        with closing(sqlite3.connect(Path(folder) / source.name)) as connection:
            connection.text_factory = lambda data: data.decode("utf-8", "replace")
            connection.execute("PRAGMA trusted_schema = OFF")
            kinds = dict(connection.execute("SELECT name, type FROM sqlite_master").fetchall())
            for name in ("runs", *TABLES):
                if kinds.get(name) != "table":
                    raise BookError(
                        f"{source.name} has no table {name!r} to save runs from.", "Use a backup."
                    )
            yield connection


def _numbers(old: sqlite3.Connection, table: str, lost: list[str]) -> Iterator[int]:
    """Yield the row numbers of a table; where its pages are damaged, one after the other is tried."""
    try:
        found = [row[0] for row in old.execute(f"SELECT id FROM {table} ORDER BY id")]
        yield from (number for number in found if isinstance(number, int))
        return
    except sqlite3.DatabaseError:
        lost.append(f"Table {table}: some of its pages cannot be read.")
    missing, number = 0, 0
    while missing < FURTHER:
        number += 1
        try:
            there = old.execute(f"SELECT id FROM {table} WHERE id = ?", (number,)).fetchone()
        except sqlite3.DatabaseError:
            there = None
        missing = 0 if there else missing + 1
        if there:
            yield number


def _run(old: sqlite3.Connection, new: sqlite3.Connection, run_id: int, lost: list[str]) -> bool:
    names = ", ".join(RUN_COLUMNS)
    try:
        row = old.execute(f"SELECT {names} FROM runs WHERE id = ?", (run_id,)).fetchone()
    except sqlite3.DatabaseError:
        row = None
    if row is None:
        lost.append(f"Run {run_id}: its line cannot be read.")
        return False
    values = {name: _kept(name, value, run_id, lost) for name, value in zip(RUN_COLUMNS, row, strict=True)}
    now = upgrade.utc_now()
    values |= {"id": run_id, "uid": upgrade.new_uid(), "sealed_at": now}
    _insert(new, "runs", values)
    for table, columns in TABLES.items():
        _rows(old, new, run_id, table, columns, lost)
    new.execute(
        """UPDATE runs SET samples = (SELECT coalesce(sum(count), 0) FROM batches WHERE run_id = ?1),
        first_s = (SELECT min(first_s) FROM batches WHERE run_id = ?1),
        last_s = (SELECT max(last_s) FROM batches WHERE run_id = ?1) WHERE id = ?1""",
        (run_id,),
    )
    closed = values["outcome"] != "running"
    upgrade.seal_run(new, run_id, now, closed=closed, judged=values["verdict"] is not None)
    return True


def _kept(name: str, value: Any, run_id: int, lost: list[str]) -> Any:
    """Return a column's value, or what stands for one that cannot be read."""
    what = f"Run {run_id}, {name}"
    try:
        if name == "accuracy":
            reader.accuracy_of(value, what)
        elif name in ("info", "profile"):
            typed.table(value, what)
        elif name != "verdict" and (name != "ended_at" or value is not None):
            typed.text(value, what)
        elif name == "verdict" and value is not None and value not in contents.RUN_VERDICTS:
            raise typed.damaged(what)
    except BookError:
        lost.append(f"{what}: it cannot be read.")
        return DEFAULTS.get(name, "")
    return value


def _rows(
    old: sqlite3.Connection,
    new: sqlite3.Connection,
    run_id: int,
    table: str,
    columns: Sequence[str],
    lost: list[str],
) -> None:
    """Copy the rows of a run that pass their check; batches are numbered anew, their times go on."""
    copied, last_s = 0, -math.inf
    for number, row in enumerate(_read(old, run_id, table, columns, lost)):
        values = dict(zip(columns, row, strict=True))
        try:
            _CHECKS[table](values)
            if table == "batches" and not values["first_s"] > last_s:
                raise typed.damaged("a batch")
        except BookError:
            lost.append(f"Run {run_id}, {table} {number}: it cannot be read.")
            continue
        if table == "batches":
            values["number"], last_s = copied, values["last_s"]
        copied += 1
        _insert(new, table, {"run_id": run_id, **values})


def _read(
    old: sqlite3.Connection, run_id: int, table: str, columns: Sequence[str], lost: list[str]
) -> list[tuple[Any, ...]]:
    """Return a run's rows; where pages or the index are damaged, those that can be reached one by one."""
    names, order = ", ".join(columns), "number" if "number" in columns else "id"
    try:
        query = f"SELECT {names} FROM {table} WHERE run_id = ? ORDER BY {order}"
        return old.execute(query, (run_id,)).fetchall()
    except sqlite3.DatabaseError:
        lost.append(f"Run {run_id}, {table}: some cannot be read.")
    if table == "marks":  # has no numbers of its own to go by
        return []
    found, query = [], f"SELECT run_id, {names} FROM {table} WHERE id = ?"
    for number in _numbers(old, table, []):
        with contextlib.suppress(sqlite3.DatabaseError):
            found += [row[1:] for row in old.execute(query, (number,)) if row[0] == run_id]
    return found


def _insert(new: sqlite3.Connection, table: str, values: dict[str, Any]) -> None:
    marks = ", ".join("?" * len(values))
    new.execute(f"INSERT INTO {table}({', '.join(values)}) VALUES ({marks})", tuple(values.values()))


def _batch(values: dict[str, Any]) -> None:
    rows = unpack_samples(values["columns"], values["count"])
    if not len(rows) or not np.all(np.diff(rows["time_s"]) > 0):
        raise typed.damaged("a batch")
    values["first_s"], values["last_s"] = float(rows["time_s"][0]), float(rows["time_s"][-1])


def _mark(values: dict[str, Any]) -> None:
    typed.whole(values["number"], "")
    typed.text(values["label"], "")
    typed.text(values["kind"], "")
    typed.number(values["start_s"], "")
    typed.number_or_none(values["end_s"], "")


def _event(values: dict[str, Any]) -> None:
    typed.number(values["time_s"], "")
    typed.whole(values["code"], "")
    typed.text(values["kind"], "")
    typed.text(values["text"], "")


def _burst(values: dict[str, Any]) -> None:
    names = ("channel", "unit", "rate_hz", "start_s", "numbers", "label")
    reader.burst_of(tuple(values[name] for name in names), "a fast capture")


def _finding(values: dict[str, Any]) -> None:
    reader.finding_of(tuple(values[name.partition(".")[2]] for name in reader.FINDING_COLUMNS.split(", ")))


_CHECKS = {"batches": _batch, "marks": _mark, "events": _event, "bursts": _burst, "findings": _finding}

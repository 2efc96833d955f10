"""The job book's face: open it, write runs, read them back.

>>> book = Book("shop.book")                                              # doctest: +SKIP
>>> with book.new_run("throttle-body", "throttle") as writer:             # doctest: +SKIP
...     writer.samples(rows)
>>> data = book.load(writer.run_id)                                       # doctest: +SKIP
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Sequence
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any

from strokebench.book import contents, facts, items, search, typed
from strokebench.book.connect import connect, plain_errors, transaction
from strokebench.book.contents import RunSummary
from strokebench.book.jobs.store import Jobs
from strokebench.book.search import TrendPoint, Wanted
from strokebench.book.typed import to_json
from strokebench.book.upgrade import new_uid, utc_now
from strokebench.data.findings import Finding
from strokebench.data.output import is_book
from strokebench.errors import BookError, UsageError

if TYPE_CHECKING:
    from strokebench.book.care import Heard
    from strokebench.book.writer import RunWriter
    from strokebench.data.run import RunData

__all__ = ["Book", "RunSummary", "TrendPoint", "Wanted", "is_book"]


class Book:
    """One job book file; a context manager. Several processes may write into the same file.

    ``read_only`` never changes nor creates the file.  Raises :class:`BookError`.
    """

    def __init__(self, path: str | Path, *, read_only: bool = False) -> None:
        self.path = Path(path)
        self._connection: sqlite3.Connection = connect(self.path, read_only=read_only)

    @property
    def jobs(self) -> Jobs:
        """The jobs of the book."""
        return Jobs(self._connection, self.path)

    def new_run(
        self,
        part: str,
        kind: str,
        *,
        customer: str = "",
        note: str = "",
        part_serial: str = "",
        info: dict[str, Any] | None = None,
        accuracy: dict[str, dict[str, float]] | None = None,
        profile: dict[str, Any] | None = None,
    ) -> RunWriter:
        """Begin a run of ``part``; ``info`` takes identity, engine, ambient_c and the like."""
        from strokebench.book.writer import RunWriter, writer_name

        statement = """INSERT INTO runs(uid, started_at, part, kind, part_serial, customer, note, writer,
            info, accuracy, profile) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)"""
        now = utc_now()
        texts = (new_uid(), now, part, kind, part_serial, customer, note, writer_name())
        values = (*texts, to_json(info or {}), to_json(accuracy or {}), to_json(profile or {}))
        with plain_errors(self.path), transaction(self._connection):
            run_id = self._connection.execute(statement, values).lastrowid
            assert run_id is not None
            items.begin(self._connection, run_id, now)
        return RunWriter(self._connection, self.path, run_id)

    def runs(self) -> list[RunSummary]:
        """Return a summary of every run, oldest first."""
        with plain_errors(self.path):
            return contents.summaries(self._connection)

    def summary(self, run_id: int) -> RunSummary:
        """Return one run's line of the contents."""
        with plain_errors(self.path):
            self._known(run_id)
            return contents.summaries(self._connection, run_id)[0]

    def last_run(self) -> int:
        """Return the newest run's number; :class:`BookError` when there is none."""
        with plain_errors(self.path):
            newest = self._connection.execute("SELECT max(id) FROM runs").fetchone()[0]
        if newest is None:
            raise BookError(f"The job book {self.path} holds no run.", "Record one with `strokebench run`.")
        return int(newest)

    def find(self, wanted: Wanted) -> list[RunSummary]:
        """Return the runs that match, newest first."""
        with plain_errors(self.path):
            return search.find(self._connection, wanted)

    def find_columns(self, wanted: Wanted, names: Sequence[str]) -> dict[str, Sequence[Any]]:
        """Return the fields ``names`` of the same runs as columns, which is much quicker for very many."""
        with plain_errors(self.path):
            return search.find_columns(self._connection, wanted, names)

    def trend(self, key: str, wanted: Wanted) -> list[TrendPoint]:
        """Return finding ``key`` over the runs that match, oldest first; UsageError for an unknown key."""
        with plain_errors(self.path):
            points = search.trend(self._connection, key, wanted)
        if not points:
            self.finding_named(key)
        return points

    def finding_named(self, name: str) -> tuple[str, str]:
        """Return key and title of the finding whose key, title or part of its title is ``name``.

        UsageError when there is none, or more than one.
        """
        with plain_errors(self.path):
            known = search.titles(self._connection)
        found = search.named(known, name)
        if len(found) == 1:
            return found[0], known[found[0]]
        if found:
            several = "; ".join(f"{known[key]} ({key})" for key in found)
            raise UsageError(f"{name!r} is part of several findings' titles.", f"Name one: {several}.")
        raise UsageError(f"No run in {self.path} has a finding {name!r}.", f"It has: {', '.join(known)}.")

    def add_note(self, run_id: int, text: str) -> str:
        """Append a line to a run's note and return the whole note."""
        with plain_errors(self.path), transaction(self._connection):
            self._known(run_id)
            self._connection.execute(
                """UPDATE runs SET note = CASE note WHEN '' THEN ?1 ELSE note || char(10) || ?1 END
                WHERE id = ?2""",
                (text, run_id),
            )
            items.say(self._connection, run_id, "note", utc_now())
            return contents.summaries(self._connection, run_id)[0].note

    def run_numbers(self) -> list[int]:
        """Return the numbers of all runs, ascending."""
        with plain_errors(self.path):
            rows = self._connection.execute("SELECT id FROM runs ORDER BY id").fetchall()
        return [typed.whole(row[0], "the number of a run") for row in rows]

    def salt(self) -> bytes:
        """Return this book's secret for pseudonyms; it is in the file, so keep the file to yourself."""
        with plain_errors(self.path):
            row = self._connection.execute("SELECT value FROM facts WHERE name = 'salt'").fetchone()
        if row is None or not isinstance(row[0], bytes) or not 16 <= len(row[0]) <= 64:
            raise typed.damaged("its salt for pseudonyms")
        return row[0]

    def problems(self, heard: Heard = lambda done, of: None) -> list[str]:
        """Return one sentence for each thing wrong with the file, reading all of it.

        ``heard`` is told how many runs of how many have been looked at.
        """
        from strokebench.book import care

        with plain_errors(self.path):
            return list(care.problems(self._connection, heard))

    def bench_of(self, run_id: int) -> str:
        """Return the identity of the bench that made a run, empty where the run does not say."""
        with plain_errors(self.path):
            self._known(run_id)
            return facts.bench_of(self._connection, run_id)

    def golden_parts(self) -> list[facts.Golden]:
        """Return the parts that are kept to check the bench."""
        with plain_errors(self.path):
            return facts.golden_parts(self._connection)

    def fact(self, name: str) -> Any:
        """Return what was kept under a name, None for nothing."""
        with plain_errors(self.path):
            return facts.fact(self._connection, name)

    def keep_fact(self, name: str, value: Any) -> None:
        """Keep something that JSON knows under a name."""
        with plain_errors(self.path), transaction(self._connection):
            facts.keep(self._connection, name, value)

    def find_seal(self, digits: str) -> tuple[int, str, str] | None:
        """Return run, what was sealed and when, for a seal's first 16 or more hexadecimal digits."""
        from strokebench.book import care

        with plain_errors(self.path):
            return care.find_seal(self._connection, digits)

    def backup(self, target: str | Path) -> int:
        """Copy the book to ``target``, safe while somebody records; return its size in bytes."""
        from strokebench.book import care

        with plain_errors(self.path):
            return care.backup(self._connection, self.path, Path(target))

    def load(self, run_id: int, *, until_s: float | None = None) -> RunData:
        """Return everything recorded of run ``run_id``; a run cut short loads up to its last batch.

        ``until_s``: only the batches of samples that begin before, when the rest is not needed.
        """
        from strokebench.book import reader

        with plain_errors(self.path):
            self._known(run_id)
            return reader.load(self._connection, run_id, until_s)

    def findings(self, run_id: int) -> list[Finding]:
        """Return the findings stored with a run."""
        from strokebench.book import reader

        with plain_errors(self.path):
            self._known(run_id)
            return reader.findings(self._connection, run_id)

    def profile(self, run_id: int) -> dict[str, Any]:
        """Return the part profile the run was made with, as a plain table."""
        with plain_errors(self.path):
            self._known(run_id)
            query = "SELECT profile FROM runs WHERE id = ?"
            found = self._connection.execute(query, (run_id,)).fetchone()[0]
        return typed.table(found, f"the profile of run {run_id}")

    def revision(self, run_id: int) -> int:
        """Return how many things were sealed of a run: each judgement makes it larger."""
        with plain_errors(self.path):
            query = "SELECT count(*) FROM seals WHERE run_id = ?"
            return int(self._connection.execute(query, (run_id,)).fetchone()[0])

    def judged(self, run_id: int, findings: Iterable[Finding], verdict: str) -> None:
        """Replace findings and verdict of an existing run."""
        from strokebench.book.writer import RunWriter

        RunWriter(self._connection, self.path, run_id).findings(findings, verdict)

    def _known(self, run_id: int) -> None:
        if self._connection.execute("SELECT 1 FROM runs WHERE id = ?", (run_id,)).fetchone() is None:
            raise UsageError(
                f"The job book {self.path} has no run {run_id}.", "Leave the number out to take the last run."
            )

    def close(self) -> None:
        """Close the file; the write-ahead log is folded in when nobody else has it open."""
        with plain_errors(self.path):
            self._connection.close()

    def __enter__(self) -> Book:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def __rich_repr__(self) -> Iterable[Any]:
        yield str(self.path)

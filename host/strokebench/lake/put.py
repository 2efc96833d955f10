"""A job book's runs go into the lake; what is there already stays as it is.

Samples first, then runs, their findings last: a put that was cut short is simply done again. Files of
findings are named by the workshop and by what they hold, so workshops never meet in one file.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Collection, Iterable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from strokebench.errors import BookError
from strokebench.lake.names import Pseudonyms
from strokebench.lake.place import Place, needed, plain_name
from strokebench.lake.rows import (
    Row,
    bursts_table,
    findings_table,
    row_of,
    runs_table,
    samples_table,
)

if TYPE_CHECKING:
    from strokebench.book.book import Book
    from strokebench.data.findings import Finding

AT_ONCE = 500
"""Runs that are kept in memory before their findings are written."""
Heard = Callable[[int, int], None]


@dataclass
class Put:
    """How many runs were put, were there already, or could not be read, in words."""

    runs: int = 0
    there: int = 0
    good: int = 0
    lost: list[str] = field(default_factory=list)
    waiting: list[tuple[Row, list[Finding]]] = field(default_factory=list)


@dataclass(frozen=True)
class Wish:
    """What is put: ``part`` only of that name (empty: all), called ``called`` in the lake (empty: the same).

    ``samples`` too, or findings alone. ``good``: numbers of runs of parts that somebody declared good.
    """

    part: str = ""
    called: str = ""
    samples: bool = True
    good: Collection[int] = ()


def put(book: Book, place: Place, names: Pseudonyms, wish: Wish, heard: Heard = lambda done, of: None) -> Put:
    """Put the runs of a book that have ended; a run judged since it was put gets its new findings too."""
    done, there = Put(), present(place, names.shop)
    runs = [
        run for run in book.runs()
        if run.outcome not in ("running", "cut") and wish.part in ("", run.part)
    ]  # fmt: skip
    good: list[Row] = []
    for number, run in enumerate(runs):
        heard(number, len(runs))
        try:
            row = _put_run(book, place, names, wish, run.run_id, there, done)
        except BookError as error:
            done.lost.append(f"run {run.run_id} ({error})")
            continue
        if run.run_id in wish.good:
            good.append(row)
        if len(done.waiting) >= AT_ONCE:
            _write(place, names, done)
    _write(place, names, done)
    done.good = _declare(place, names, good)
    heard(len(runs), len(runs))
    return done


def present(place: Place, shop: str) -> set[tuple[str, int]]:
    """Return the runs of a workshop whose findings are in the lake, with their revisions."""
    found: set[tuple[str, int]] = set()
    for path in place.files("findings", name=f"{shop}-*"):
        table = place.read(path, ["run", "revision"])
        found |= set(zip(table["run"].to_pylist(), table["revision"].to_pylist(), strict=True))
    return found


def _put_run(
    book: Book,
    place: Place,
    names: Pseudonyms,
    wish: Wish,
    run_id: int,
    there: set[tuple[str, int]],
    done: Put,
) -> Row:
    data, profile = book.load(run_id), book.profile(run_id)
    row = row_of(data, names, wish.called or str(data.info["part"]), book.revision(run_id), profile)
    if (row.run, revision_of(row)) in there:
        done.there += 1
        return row
    findings = book.findings(run_id)
    if wish.samples:
        path = place.path("samples", row.part, row.month, row.run)
        if not place.system.exists(path):
            if data.bursts:
                place.write(bursts_table(data), place.path("bursts", row.part, row.month, row.run))
            place.write(samples_table(data, row), path)
    done.waiting.append((row, findings))
    done.runs += 1
    return row


def _write(place: Place, names: Pseudonyms, done: Put) -> None:
    folders: dict[tuple[str, str], list[tuple[Row, list[Finding]]]] = {}
    for row, findings in done.waiting:
        folders.setdefault((row.part, row.month), []).append((row, findings))
    for (part, month), judged in folders.items():
        rows = [row for row, _ in judged]
        name = f"{names.shop}-{_name(f'{row.run} {revision_of(row)}' for row in rows)}"
        place.write(runs_table(rows), place.path("runs", part, month, name))
        place.write(findings_table(judged), place.path("findings", part, month, name))
    done.waiting.clear()


def revision_of(row: Row) -> int:
    """Return how often something was said of a run."""
    return int(row.facts["revision"])


def _name(pieces: Iterable[str]) -> str:
    return hashlib.sha256("\n".join(sorted(pieces)).encode()).hexdigest()[:16]


def _declare(place: Place, names: Pseudonyms, good: list[Row]) -> int:
    """Write which parts somebody declared good; a declaration is a file of its own."""
    arrow = needed("pyarrow")
    parts: dict[tuple[str, str], set[str]] = {}
    for row in good:
        if row.facts["specimen"]:
            parts.setdefault((row.part, row.month), set()).add(str(row.facts["specimen"]))
    for (part, month), found in parts.items():
        path = place.path("good", plain_name(part), month, f"{names.shop}-{_name(found)}")
        place.write(arrow.table({"specimen": sorted(found)}), path)
    return sum(map(len, parts.values()))

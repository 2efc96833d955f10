"""The job book: what was run, found by text, part, customer and verdict; two runs to compare."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import urlencode

from strokebench.errors import StrokebenchError
from strokebench.panel.pages.findings import SIGNS
from strokebench.panel.pages.frame import frame, written
from strokebench.panel.pages.golden import golden_box
from strokebench.panel.tags import button, select, table, tag

if TYPE_CHECKING:
    from strokebench.book.book import RunSummary

SHOWN = 50
"""Runs on one page."""
VERDICTS = ("pass", "fail", "inconclusive")


@dataclass(frozen=True)
class Filter:
    """What the page is asked for; empty fields do not count. ``page`` from 1."""

    find: str = ""
    part: str = ""
    customer: str = ""
    verdict: str = ""
    page: int = 1

    @property
    def address(self) -> str:
        """The page that shows this."""
        fields = {name: value for name, value in vars(self).items() if value and value != 1}
        return "/book" + (f"?{urlencode(fields)}" if fields else "")


def book_page(path: Path, wanted: Filter) -> str:
    """Return the page with the newest runs that match; made in a worker thread."""
    with frame("/book", "Job book") as page, tag("div", classes="sheet"):
        tag("h1", f"Job book: {wanted.customer}" if wanted.customer else "Job book")
        if not path.exists():
            tag("p", "The job book is still empty: run a procedure first.")
            return written(page)
        try:
            runs = all_runs(path)
        except StrokebenchError as error:
            tag("p", f"{error} {error.hint}")
            return written(page)
        golden_box(path)
        _search(wanted, sorted({run.part for run in runs}))
        found = matching(runs, wanted)
        _count(found)
        last = max(1, -(-len(found) // SHOWN))
        here = replace(wanted, page=min(max(wanted.page, 1), last))
        _table(found[(here.page - 1) * SHOWN : here.page * SHOWN])
        _turn(here, last)
    return written(page)


def all_runs(path: Path) -> list[RunSummary]:
    """Return the book's contents, oldest first."""
    from strokebench.book.book import Book

    with Book(path, read_only=True) as book:
        return book.runs()


def matching(runs: list[RunSummary], wanted: Filter) -> list[RunSummary]:
    """Return the runs, newest first, in which every word of ``find`` occurs and every other field is so."""
    words = wanted.find.lower().split()
    return [
        run
        for run in reversed(runs)
        if wanted.part in ("", run.part)
        and wanted.customer in ("", run.customer)
        and wanted.verdict in ("", run.verdict)
        and all(word in _haystack(run) for word in words)
    ]


def _haystack(run: RunSummary) -> str:
    texts = (str(run.run_id), run.started_at, run.part, run.part_serial, run.customer, run.note, run.outcome)
    return " ".join((*texts, run.verdict or "")).lower()


def _search(wanted: Filter, parts: list[str]) -> None:
    with tag("form", classes="search", method="get", action="/book", role="search"):
        with tag("div", classes="field"):
            tag("label", "Part, customer, serial, note, verdict or date", for_="find")
            tag("input", type="text", id="find", name="find", value=wanted.find)
        select("Part", "part", [("", "all"), *((part, part) for part in parts)], wanted.part)
        select("Verdict", "verdict", [("", "all"), *((word, word) for word in VERDICTS)], wanted.verdict)
        if wanted.customer:
            tag("input", type="hidden", name="customer", value=wanted.customer)
        tag("button", "Find", "plain", type="submit")
        tag("a", "Show all", href="/book")
    if wanted.part:
        tag("a", f"Trends of {wanted.part}", href=f"/trend?{urlencode({'part': wanted.part})}")


def _count(found: list[RunSummary]) -> None:
    counts = ", ".join(f"{sum(run.verdict == word for run in found)} {word}" for word in VERDICTS)
    tag("p", f"{len(found)} runs: {counts}.", role="status")


def _turn(here: Filter, last: int) -> None:
    if last == 1:
        return
    with tag("nav", classes="row", aria_label="Pages of the job book"):
        if here.page > 1:
            tag("a", "Newer", href=replace(here, page=here.page - 1).address)
        tag("span", f"Page {here.page} of {last}")
        if here.page < last:
            tag("a", "Older", href=replace(here, page=here.page + 1).address)


def _table(runs: list[RunSummary]) -> None:
    with tag("form", method="get", action="/compare"):
        heads = ("A", "B", "Run", "Begun (UTC)", "Part", "Verdict", "Customer", "Note", "Report")
        with table("Table of runs", heads, "card"):
            for place, run in enumerate(runs):
                _row(run, place)
        with tag("div", classes="row"):
            button("Compare run A with run B", "", "plain", type="submit")


def _row(run: RunSummary, place: int) -> None:
    with tag("tr"):
        for name, chosen in (("a", place == 1), ("b", place == 0)):  # before on the left, after on the right
            with tag("td"):
                label = f"Compare: run {run.run_id} as {name.upper()}"
                tag("input", type="radio", name=name, value=run.run_id, checked=chosen, aria_label=label)
        with tag("th", scope="row"):
            tag("a", str(run.run_id), href=f"/run/{run.run_id}", aria_label=f"Run {run.run_id}")
        tag("td", run.started_at[:19].replace("T", " "), "number")
        tag("td", f"{run.part} {run.part_serial}".strip(), "words")
        verdict = run.verdict or run.outcome
        tag("td", f"{SIGNS.get(verdict, '')} {verdict}".strip(), f"word {verdict}")
        with tag("td", classes="words"):
            if run.customer:
                tag("a", run.customer, href=Filter(customer=run.customer).address)
            else:
                tag("span", "\u2013")
        tag("td", run.note or "\u2013", "words")
        with tag("td"):
            tag("a", f"Report {run.run_id}", href=f"/report/{run.run_id}", target="_blank")

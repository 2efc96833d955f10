"""The job book: what was run, found by text, with reports and a choice of two runs to compare."""

from __future__ import annotations

import asyncio
from pathlib import Path
from typing import TYPE_CHECKING

from strokebench.errors import StrokebenchError
from strokebench.panel.pages.findings import SIGNS
from strokebench.panel.pages.frame import frame
from strokebench.panel.tags import button, table, tag

if TYPE_CHECKING:
    from strokebench.book.book import RunSummary

SHOWN = 100


async def book_page(path: Path, find: str = "") -> None:
    """Build the page with the newest runs that contain ``find`` in any of their texts."""
    frame("/book")
    with tag("div", classes="sheet"):
        tag("h1", "Job book")
        with tag("form", classes="search", method="get", action="/book", role="search"):
            with tag("div", classes="field"):
                tag("label", "Part, customer, serial, note, verdict or date", for_="find")
                tag("input", type="text", id="find", name="find", value=find[:200])
            tag("button", "Find", "plain", type="submit")
        if not path.exists():
            tag("p", "The job book is still empty: run a procedure first.")
            return
        try:
            runs = await asyncio.to_thread(_matching_runs, path, find)
        except StrokebenchError as error:
            tag("p", f"{error} {error.hint}")
            return
        _table(runs[:SHOWN])
        if len(runs) > SHOWN:
            tag("p", f"The newest {SHOWN} of {len(runs)} runs; search to see others.", "hint")


def _matching_runs(path: Path, find: str) -> list[RunSummary]:
    from strokebench.book.book import Book

    with Book(path, read_only=True) as book:
        return matching(book.runs(), find)


def matching(runs: list[RunSummary], find: str) -> list[RunSummary]:
    """Return the runs, newest first, in which every word of ``find`` occurs."""
    wanted = find.lower().split()
    return [run for run in reversed(runs) if all(word in _haystack(run) for word in wanted)]


def _haystack(run: RunSummary) -> str:
    texts = (str(run.run_id), run.started_at, run.part, run.part_serial, run.customer, run.note, run.outcome)
    return " ".join((*texts, run.verdict or "")).lower()


def _table(runs: list[RunSummary]) -> None:
    with tag("form", method="get", action="/compare"):
        heads = ("A", "B", "Run", "Begun (UTC)", "Part", "Verdict", "Customer", "Note", "Report")
        with table("Table of runs", heads, "card"):
            for place, run in enumerate(runs):
                _row(run, place)
        with tag("div", classes="row"):
            button("Compare run A with run B", "", "plain").props["type"] = "submit"


def _row(run: RunSummary, place: int) -> None:
    with tag("tr"):
        for name, chosen in (("a", place == 0), ("b", place == 1)):
            with tag("td"):
                label = f"Compare: run {run.run_id} as {name.upper()}"
                tag("input", type="radio", name=name, value=run.run_id, checked=chosen, aria_label=label)
        tag("th", str(run.run_id), scope="row")
        tag("td", run.started_at[:19].replace("T", " "), "number")
        tag("td", f"{run.part} {run.part_serial}".strip())
        verdict = run.verdict or run.outcome
        sign = SIGNS.get(verdict, "")
        tag("td", f"{sign} {verdict}".strip(), f"word {verdict}")
        tag("td", run.customer or "\u2013", "words")
        tag("td", run.note or "\u2013", "words")
        with tag("td"):
            tag("a", f"Report {run.run_id}", href=f"/report/{run.run_id}", target="_blank")

"""Two runs laid over each other by segment, with their difference, and their findings side by side."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from strokebench.data.findings import COVERAGE
from strokebench.errors import StrokebenchError
from strokebench.panel.pages.findings import SIGNS, measured
from strokebench.panel.pages.frame import frame, written
from strokebench.panel.pages.instrument import instrument
from strokebench.panel.runs import Loaded, load_run
from strokebench.panel.tags import card, table, tag
from strokebench.report.numbers import fixed, places
from strokebench.terminal.display import unit_text

if TYPE_CHECKING:
    from strokebench.data.findings import Finding
    from strokebench.panel.instrument.routes import Sources

ALIGNED = (
    "The time axis is run A's. Each segment of run B is laid on the same segment of run A. Where B's segment"
    " is longer, its rest is left out. The limits are those of run A's part."
)


def compare_page(path: Path, sources: Sources, first: str, second: str) -> str:
    """Return the page of two runs, by their numbers; made in a worker thread."""
    if not (first.isdecimal() and second.isdecimal() and len(first + second) < 30):
        return _choose_two()
    title = f"Run {first} (A) and run {second} (B)"
    try:
        sides = [load_run(path, int(number), rows=False) for number in (first, second)]
        source = sources.get(f"{int(first)}-{int(second)}")
    except StrokebenchError as error:
        with frame("/compare", "Compare") as page, tag("div", classes="sheet"):
            tag("h1", title)
            tag("p", f"{error} {error.hint}", role="alert")
        return written(page)
    with frame("/compare", "Compare", scripts=("history.js",)) as page, tag("div", classes="sheet"):
        tag("h1", title)
        for letter, side in zip("AB", sides, strict=True):
            tag("p", f"{letter}: {_about(side)}")
        instrument(source, f"{int(first)}-{int(second)}", "Curves of both, and B \u2212 A")
        tag("p", ALIGNED, "hint")
        _findings(sides[0][1], sides[1][1])
    return written(page)


def _choose_two() -> str:
    with frame("/compare", "Compare") as page, tag("div", classes="sheet"):
        tag("h1", "Choose two runs")
        with tag("p"):
            tag("span", "Mark run A and run B in the ")
            tag("a", "job book", href="/book")
            tag("span", ", then press Compare.")
    return written(page)


def _about(side: Loaded) -> str:
    info = side[0].info
    begun = info["started_at"][:19].replace("T", " ")
    return f"{info['part']}, {begun} UTC, {info.get('customer') or 'no customer'}"


def _findings(first: list[Finding], second: list[Finding]) -> None:
    others = {finding.key: finding for finding in second}
    keys = {finding.key for finding in first}
    pairs = [(finding, others.get(finding.key)) for finding in first] + [
        (None, finding) for finding in second if finding.key not in keys
    ]
    heads = ("Finding", "A", "Verdict A", "B", "Verdict B", "B \u2212 A")
    with card("Findings of both"), table("Findings of both runs", heads):
        for mine, other in pairs:
            _pair(mine, other)


def _difference(first: Finding, other: Finding) -> str:
    """Return B - A with a digit no finer than the values' own."""
    decimals = places(COVERAGE * max(first.u, other.u))
    return f"{fixed(other.value - first.value, decimals)} {unit_text(first)}".strip()


def _pair(first: Finding | None, other: Finding | None) -> None:
    present = first or other
    assert present is not None  # a pair has at least one
    with tag("tr"):
        tag("th", present.title, scope="row")
        for finding in (first, other):
            tag("td", measured(finding), "number")
            word = finding.verdict.value if finding else ""
            tag("td", f"{SIGNS[word]} {word}" if word else "\u2013", f"word {word}")
        known = first is not None and other is not None and first.known and other.known
        tag(
            "td",
            _difference(first, other) if known and first and other else "\u2013",
            "number",
        )

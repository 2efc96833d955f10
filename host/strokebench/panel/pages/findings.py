"""Findings as they become known, the verdict, and the way to the report."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from nicegui import ui

from strokebench.panel.tags import card, table, tag
from strokebench.terminal.display import limits_text, unit_text, value_text, where_text

if TYPE_CHECKING:
    from strokebench.data.findings import Finding
    from strokebench.panel.driver import Driver
    from strokebench.panel.view import Snapshot

LOOK_S = 0.5
SIGNS = {"pass": "\u2713", "fail": "\u2717", "inconclusive": "?", "info": "i"}
"""So that the verdict is never told by colour alone."""


def findings_card(driver: Driver) -> None:
    """Build the card and keep it up to date."""
    shown = [-1]
    with card("Findings", "findings"):
        place = tag("div", aria_live="polite")

    def look() -> None:
        now = driver.view.now
        if now.findings_version != shown[0]:
            shown[0] = now.findings_version
            place.clear()
            with place:
                _contents(now)

    look()
    ui.timer(LOOK_S, look)


def _contents(now: Snapshot) -> None:
    if not now.findings:
        tag("p", "None yet. They appear while the procedure runs.", "hint")
        return
    if now.verdict:
        with tag("p", classes=f"verdict {now.verdict}"):
            tag("strong", f"{SIGNS[now.verdict]} {now.verdict.capitalize()}")
        with tag("p"):
            tag("a", f"Report of run {now.judged_run}", href=f"/report/{now.judged_run}", target="_blank")
    else:
        tag("p", "So far, while the run goes on; the verdicts may still change.", "hint")
    findings_table(now.findings)


def findings_table(findings: Sequence[Finding]) -> None:
    """Put the table of findings."""
    with table("Table of findings", ("Finding", "Value \u00b1 U", "Limits", "Verdict", "Where")):
        for finding in findings:
            _row(finding)


def _row(finding: Finding) -> None:
    word = finding.verdict.value
    with tag("tr"):
        tag("th", finding.title, scope="row")
        tag("td", f"{value_text(finding)} {unit_text(finding)}".strip(), "number")
        tag("td", limits_text(finding) or "\u2013", "number")
        with tag("td", classes=f"word {word}"):
            tag("span", f"{SIGNS[word]} {word}")
        tag("td", where_text(finding) or "\u2013")

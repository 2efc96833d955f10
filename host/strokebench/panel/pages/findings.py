"""Findings with the failing ones first, the verdict, and the way to the report."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from strokebench.diagnose.explained import explained
from strokebench.panel.tags import Element, button, card, table, tag
from strokebench.terminal.display import limits_text, unit_text, value_text, where_text

if TYPE_CHECKING:
    from strokebench.data.findings import Finding
    from strokebench.panel.driver import Driver

SIGNS = {"pass": "\u2713", "fail": "\u2717", "inconclusive": "?", "info": "i"}
"""So that the verdict never depends on colour alone."""
ORDER = ("fail", "inconclusive", "pass", "info")


def findings_card() -> None:
    """Put the card; the page's script fills it with :func:`live_findings` and keeps it up to date."""
    with card("Findings", "findings"), tag("div", data_findings=True, aria_live="polite"):
        tag("p", "None yet. They appear while the procedure runs.", "hint")


def live_findings(driver: Driver) -> str:
    """Return what the card shows now, as HTML."""
    now = driver.view.now
    run = now.judged_run or now.progress.run_id
    with Element("div") as place:
        if not now.findings:
            tag("p", "None yet. They appear while the procedure runs.", "hint")
            return place.inner
        if now.verdict:
            verdict_line(now.verdict, run)
        else:
            tag("p", "So far: the run goes on, and the verdicts may still change.", "hint")
        findings_table(now.findings, driver.strip.begins(run))
    return place.inner


def verdict_line(verdict: str, run: int) -> None:
    """Put a run's verdict and the ways to its report and its curves."""
    with tag("p", classes=f"verdict {verdict}"):
        tag("strong", f"{SIGNS.get(verdict, '')} {verdict.capitalize()}")
    with tag("p", classes="row"):
        tag("a", f"Report of run {run}", href=f"/report/{run}", target="_blank")
        tag("a", f"Curves of run {run}", href=f"/run/{run}")


def failing_first(findings: Sequence[Finding]) -> list[Finding]:
    """Return them with those first that decide against the part."""
    return sorted(findings, key=lambda finding: ORDER.index(finding.verdict.value))


def findings_table(findings: Sequence[Finding], begins_s: float | None = 0.0) -> None:
    """Put the table; ``begins_s``: where the run begins on the charts' axis, None when it is not there."""
    with table("Table of findings", ("Finding", "Verdict", "Value \u00b1 U", "Limits", "Where"), flows=False):
        for finding in failing_first(findings):
            _row(finding, begins_s)


def measured(finding: Finding | None) -> str:
    """Return value, uncertainty and unit, a dash where nothing is known."""
    if finding is None or not finding.known:
        return "\u2013"
    return f"{value_text(finding)} {unit_text(finding)}".strip()


def _row(finding: Finding, begins_s: float | None) -> None:
    word = finding.verdict.value
    with tag("tr"):
        about = explained(finding.key)
        meaning = {"title": about.means} if about else {}
        tag("th", finding.title, scope="row", **meaning)
        with tag("td", classes=f"word {word}"):
            tag("span", f"{SIGNS[word]} {word}")
        tag("td", measured(finding), "number")
        tag("td", limits_text(finding) or "\u2013", "number limits")
        with tag("td"):
            where = where_text(finding) or "\u2013"
            if finding.span_s is None or begins_s is None:
                tag("span", where)
                return
            start_s, end_s = (time_s + begins_s for time_s in finding.span_s)
            button(
                where, "", "plain small", data_stretch=f"{start_s:.4f} {end_s:.4f}",
                aria_label=f"Show where {finding.title} was read: {where}",
            )  # fmt: skip

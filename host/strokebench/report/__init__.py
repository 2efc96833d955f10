"""The report of a run: one self-contained HTML file, a page for the customer and a technical annex.

It is made to be read on a screen of any width, and to be printed on A4 or Letter.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from strokebench.data.output import write_whole
from strokebench.report.page import mark, page

if TYPE_CHECKING:
    from strokebench.data.findings import Finding, Verdict
    from strokebench.data.run import RunData
    from strokebench.parts.profile import Profile
    from strokebench.report.workshop import Workshop

__all__ = ["mark", "render", "write_report"]


def render(
    run: RunData,
    profile: Profile,
    findings: list[Finding],
    verdict: Verdict,
    workshop: Workshop | None = None,
) -> str:
    """Return the report as HTML. All text that people typed is escaped; nothing is loaded from elsewhere."""
    from strokebench.report.annex import annex
    from strokebench.report.customer import of_run
    from strokebench.report.plates import plates
    from strokebench.report.workshop import Workshop

    whose = workshop or Workshop()
    technical = annex(run, profile, findings, verdict, whose)
    return page(
        "report.html",
        mark=mark(run),
        paper=whose.paper,
        customer=of_run(run, profile, findings, verdict, whose, technical["pictures"]),
        annexes=[technical],
        plates=plates(technical["pictures"], whose.paper),
    )


def write_report(
    run: RunData,
    profile: Profile,
    findings: list[Finding],
    verdict: Verdict,
    path: str | Path,
    workshop: Workshop | None = None,
    *,
    replace: bool = False,
) -> Path:
    """Write the report to ``path`` and return it; the file is there whole or not at all.

    An earlier report of the same recording is replaced, any other file only with ``replace``. Raises
    :class:`BookError` when it cannot be written.
    """
    path = Path(path)
    write_whole(path, render(run, profile, findings, verdict, workshop), replace=replace, mark=mark(run))
    return path

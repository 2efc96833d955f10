"""The report of a run: one self-contained HTML file with inline figures, made to be read and printed on
A4."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from strokebench.data.output import write_whole
from strokebench.report.page import mark, page

if TYPE_CHECKING:
    from strokebench.data.findings import Finding, Verdict
    from strokebench.data.run import RunData
    from strokebench.parts.profile import Profile

__all__ = ["mark", "render", "write_report"]


def render(run: RunData, profile: Profile, findings: list[Finding], verdict: Verdict) -> str:
    """Return the report as HTML. All text that people typed is escaped; nothing is loaded from elsewhere."""
    from strokebench.report import content, reasoning
    from strokebench.report.pictures import choice
    from strokebench.verdict import COVERAGE, risk
    from strokebench.verdict.basis import caveat

    return page(
        "report.html",
        mark=mark(run),
        part=profile.part,
        verdict=verdict.value,
        headline=verdict.value.upper(),
        caveat=caveat(profile),
        risk=risk.sentence(findings),
        summary=content.summary(findings, verdict, run),
        troubles=content.troubles(findings),
        groups=content.rows(findings, profile.kind),
        answers=content.answers(run),
        pictures=choice.pictures(run, profile, findings),
        identity=content.identity(run, profile),
        facts=content.bench_facts(run, profile),
        open_points=content.open_points(findings),
        always_open=content.always_open(profile),
        reasoning=reasoning.steps(findings, profile.kind),
        simulated=content.is_simulated(run),
        k=f"{COVERAGE:g}",
    )


def write_report(
    run: RunData,
    profile: Profile,
    findings: list[Finding],
    verdict: Verdict,
    path: str | Path,
    *,
    replace: bool = False,
) -> Path:
    """Write the report to ``path`` and return it; the file is there whole or not at all.

    An earlier report of the same recording is replaced, any other file only with ``replace``. Raises
    :class:`BookError` when it cannot be written.
    """
    path = Path(path)
    write_whole(path, render(run, profile, findings, verdict), replace=replace, mark=mark(run))
    return path

"""The report of a run: one self-contained HTML file with inline figures, made to be read and printed on
A4."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

from strokebench.errors import BookError

if TYPE_CHECKING:
    from strokebench.data.findings import Finding, Verdict
    from strokebench.data.run import RunData
    from strokebench.parts.profile import Profile

__all__ = ["render", "write_report"]


def render(run: RunData, profile: Profile, findings: list[Finding], verdict: Verdict) -> str:
    """Return the report as HTML. All text that people typed is escaped; nothing is loaded from elsewhere."""
    from strokebench.report import content
    from strokebench.report.page import page
    from strokebench.report.pictures import choice
    from strokebench.verdict import COVERAGE

    return page(
        "report.html",
        part=profile.part,
        verdict=verdict.value,
        headline=verdict.value.upper(),
        summary=content.summary(findings, verdict, run),
        troubles=content.troubles(findings),
        groups=content.rows(findings, profile.kind),
        answers=content.answers(run),
        pictures=choice.pictures(run, profile, findings),
        identity=content.identity(run, profile),
        facts=content.bench_facts(run, profile),
        open_points=content.open_points(findings),
        always_open=content.always_open(profile),
        simulated=content.is_simulated(run),
        k=f"{COVERAGE:g}",
    )


def write_report(
    run: RunData, profile: Profile, findings: list[Finding], verdict: Verdict, path: str | Path
) -> Path:
    """Write the report to ``path`` and return it; the file is there whole or not at all.

    Raises :class:`BookError` when it cannot be written.
    """
    path = Path(path)
    text = render(run, profile, findings, verdict)
    partial = path.with_name(path.name + ".part")
    try:
        partial.write_text(text, encoding="utf-8", newline="\n")
        os.replace(partial, path)
    except OSError as error:
        raise BookError(
            f"The report {path} cannot be written: {error.strerror}.", "Choose another place with --report."
        ) from None
    return path

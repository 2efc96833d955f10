"""The technical part of a report, for one recording: what its template needs."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from strokebench.data.findings import Finding, Verdict
    from strokebench.data.run import RunData
    from strokebench.parts.profile import Profile
    from strokebench.report.pictures.drawing import Picture
    from strokebench.report.workshop import Workshop


def annex(
    run: RunData,
    profile: Profile,
    findings: list[Finding],
    verdict: Verdict,
    workshop: Workshop,
    role: str = "",
) -> dict[str, Any]:
    """Return the values of ``annex.html``; ``role`` (before, after, guided) where a report has several."""
    from strokebench.report import content, reasoning
    from strokebench.report.pictures import choice
    from strokebench.verdict import COVERAGE, risk
    from strokebench.verdict.basis import caveat

    return {
        "role": role,
        "part": profile.part,
        "verdict": verdict.value,
        "headline": verdict.value.upper(),
        "caveat": caveat(profile),
        "risk": risk.sentence(findings),
        "summary": content.summary(findings, verdict, run),
        "troubles": content.troubles(findings),
        "groups": content.rows(findings, profile.kind),
        "answers": content.answers(run),
        "pictures": [own_ids(picture, role) for picture in choice.pictures(run, profile, findings)],
        "identity": content.identity(run, profile, workshop),
        "facts": content.bench_facts(run, profile),
        "open_points": content.open_points(findings),
        "always_open": content.always_open(profile),
        "reasoning": reasoning.steps(findings, profile.kind),
        "simulated": content.is_simulated(run),
        "golden": " ".join(run.info["golden"]) if run.info.get("golden_warns") else "",
        "k": f"{COVERAGE:g}",
    }


def own_ids(picture: Picture, prefix: str) -> Picture:
    """Return a figure whose ids begin with ``prefix``: a page may hold the same figure of two recordings."""
    from dataclasses import replace

    if not prefix:
        return picture
    pattern = r'(\bid="|url\(#|href="#)'
    return replace(picture, svg=re.sub(pattern, lambda found: f"{found[1]}{prefix}-", picture.svg))

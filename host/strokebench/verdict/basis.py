"""What the limits of a verdict rest on: how many good parts, and which findings a profile can do without."""

from __future__ import annotations

from collections.abc import Sequence

from strokebench.data.findings import Finding, Verdict
from strokebench.parts.profile import Profile

ENOUGH = 10
"""Good parts from which on learnt limits go without a remark (judgement): from then on the parts' own spread
counts as much as what was thought of it before."""


def caveat(profile: Profile) -> str:
    """Return what has to be said beside the verdict on where the limits come from, empty if nothing."""
    counts = [limit.parts for limit in profile.findings.values() if limit.parts is not None]
    fewest = min(counts, default=ENOUGH)
    if fewest == 1:
        return "limits made from one part, perhaps this very one: this shows no change, not that it is good"
    return f"limits learnt from only {fewest} good parts" if fewest < ENOUGH else ""


def excused(findings: Sequence[Finding], profile: Profile) -> list[Finding]:
    """Return the findings; an unknown one that the profile can do without says so."""
    out = []
    for finding in findings:
        limit = profile.findings.get(finding.key)
        why = "" if limit is None or finding.known else limit.not_needed
        if why and finding.verdict is Verdict.INCONCLUSIVE:
            evidence = {**finding.evidence, "not_needed": why}
            finding = finding.with_(reason=f"{finding.reason}. Not needed: {why}", evidence=evidence)
        out.append(finding)
    return out

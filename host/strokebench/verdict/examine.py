"""From a run to its judged findings and its verdict."""

from __future__ import annotations

from strokebench.data.findings import Finding, Verdict
from strokebench.data.run import RunData
from strokebench.diagnose import diagnose
from strokebench.parts.profile import Profile
from strokebench.verdict.decision import judge, overall


def examine(data: RunData, profile: Profile) -> tuple[list[Finding], Verdict]:
    """Return the judged findings of a run and its overall verdict."""
    findings = judge(diagnose(data, profile))
    return findings, overall(findings, profile.required)

"""From a run to its judged findings and its verdict."""

from __future__ import annotations

from strokebench.data.findings import Finding, Verdict
from strokebench.data.run import RunData
from strokebench.diagnose import diagnose
from strokebench.diagnose.case import followed_procedure
from strokebench.parts.profile import Profile
from strokebench.verdict.basis import excused
from strokebench.verdict.bench_fit import without_bench
from strokebench.verdict.decision import judge, overall
from strokebench.verdict.learning.here import limits_here
from strokebench.verdict.learning.surroundings import surroundings_of


def examine(data: RunData, profile: Profile) -> tuple[list[Finding], Verdict]:
    """Return the judged findings of a run and its overall verdict."""
    found = limits_here(diagnose(data, profile), profile, surroundings_of(data))
    judged = judge(found, kind=profile.kind, renames=followed_procedure(data))
    findings = excused(without_bench(judged, profile.kind), profile)
    return findings, overall(findings, profile.required)

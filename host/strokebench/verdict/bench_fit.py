"""A bench that is not fit to judge by: what is wrong with its supply is no defect of the part.

A weak battery, long supply leads or a charger that ripples falsify every other reading. Then nothing of the
part fails, the run does not pass, and the bench is named. Where supply or wiring is the job, its findings are
judged like any other.
"""

from __future__ import annotations

from collections.abc import Sequence

from strokebench.data.findings import Finding, Verdict
from strokebench.diagnose import kind_of
from strokebench.diagnose.defects import defect
from strokebench.verdict.decision import SUPPLY

WIRING_IS_THE_JOB = ("wiring", "fuel_pump_fuse")
"""Kinds of part whose supply is what is looked at."""


def without_bench(findings: Sequence[Finding], kind: str) -> list[Finding]:
    """Return judged findings; failures are inconclusive where the bench's own supply failed.

    ``kind`` of the part says whether the supply is the job. ``evidence["bench"]`` of a finding is then the
    name of what is wrong with the bench.
    """
    if kind in WIRING_IS_THE_JOB:
        return list(findings)
    of_bench = kind_of(kind).not_of_part
    weak = [
        finding for finding in findings
        if finding.key in of_bench and finding.fault in SUPPLY and finding.verdict is Verdict.FAIL
    ]  # fmt: skip
    if not weak:
        return list(findings)
    why = f'out of limits, but the bench is not fit: "{weak[0].title}" is out of limits itself'
    return [_weak(finding) if finding in weak else _open(finding, why) for finding in findings]


def _weak(finding: Finding) -> Finding:
    """The supply's finding, which stands against the bench."""
    about = defect(finding.fault)
    evidence = {**finding.evidence, "bench": finding.fault, "gate": True}
    reason = f"this is the bench, not the part. {about.check}"
    return finding.with_(verdict=Verdict.INCONCLUSIVE, reason=reason, evidence=evidence)


def _open(finding: Finding, why: str) -> Finding:
    if finding.verdict is not Verdict.FAIL:
        return finding
    return finding.with_(verdict=Verdict.INCONCLUSIVE, reason=why)


def bench_troubles(findings: Sequence[Finding]) -> list[str]:
    """Return what is wrong with the bench, by the names of the defects, each once."""
    return list(
        dict.fromkeys(str(finding.evidence["bench"]) for finding in findings if finding.evidence.get("bench"))
    )

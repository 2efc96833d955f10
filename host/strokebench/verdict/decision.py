"""Verdicts: guard-banded per finding, then over the whole run, and the name of what is wrong.

A finding passes only when it lies inside its limits by its expanded uncertainty U = k u, fails only when
outside by U, and is inconclusive between (decision rule of ISO 14253-1; conformance probability after JCGM
106:2012). One without limits is for information.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from strokebench.data.findings import COVERAGE, Finding, Verdict
from strokebench.diagnose.defects import ALL, DEFECTS

NO_LIMIT = "for information, no limit is set"


def judge(findings: Iterable[Finding], k: float = COVERAGE) -> list[Finding]:
    """Return the findings with verdicts; failures that follow from another become inconclusive and say so."""
    return attribute([verdict_of(finding, k) for finding in findings])


def verdict_of(finding: Finding, k: float = COVERAGE) -> Finding:
    """Return one finding with its verdict by the guard band of k u on each limit."""
    if not finding.known:
        return finding.with_(verdict=Verdict.INCONCLUSIVE, reason=finding.reason or "no value was found")
    if finding.for_information:
        return finding.with_(verdict=Verdict.INFO, reason=finding.reason or NO_LIMIT)
    if not math.isfinite(finding.u):
        return finding.with_(verdict=Verdict.INCONCLUSIVE, reason="its uncertainty is not known")
    guard = k * finding.u
    low = -math.inf if finding.lower is None else finding.lower
    high = math.inf if finding.upper is None else finding.upper
    if low + guard <= finding.value <= high - guard:
        return finding.with_(verdict=Verdict.PASS)
    if finding.value <= low - guard or finding.value >= high + guard:
        return finding.with_(verdict=Verdict.FAIL)
    return finding.with_(
        verdict=Verdict.INCONCLUSIVE,
        reason=f"within the uncertainty of a limit (U = {guard:.3g} {finding.unit})",
    )


def attribute(findings: Sequence[Finding]) -> list[Finding]:
    """Return the findings; those failing only because of a deeper defect are inconclusive with the reason."""
    failing = {finding.fault: finding for finding in reversed(findings) if finding.verdict is Verdict.FAIL}
    out = []
    for finding in findings:
        cause = _cause(finding, failing)
        if finding.verdict is Verdict.FAIL and cause is not None:
            reason = f'out of limits, but this follows from "{cause.title}"'
            evidence = {**finding.evidence, "follows_from": cause.fault}
            finding = finding.with_(verdict=Verdict.INCONCLUSIVE, reason=reason, evidence=evidence)
        out.append(finding)
    return out


def _cause(finding: Finding, failing: dict[str, Finding]) -> Finding | None:
    """The deepest failing finding that explains this one."""
    own = DEFECTS[finding.fault].explains if finding.fault in DEFECTS else ()
    for name, deeper in DEFECTS.items():
        if name == finding.fault or name not in failing:
            continue
        if finding.fault in deeper.explains or (ALL in deeper.explains and name not in own):
            return failing[name]
    return None


def overall(findings: Sequence[Finding], required: frozenset[str] = frozenset()) -> Verdict:
    """Return the verdict of a run: fail if any fails, else inconclusive if evidence is lacking, else pass.

    ``required``: keys without which nothing may pass; empty means every finding that has a limit. A required
    finding that is not there at all is inconclusive too, and so is a run without findings. A finding that has
    a limit and stays unknown keeps any run from passing, unless the profile says why it is not needed
    (``evidence["not_needed"]``).
    """
    if any(finding.verdict is Verdict.FAIL for finding in findings):
        return Verdict.FAIL
    limited = [finding for finding in findings if finding.lower is not None or finding.upper is not None]
    lacking = any(not finding.known and not finding.evidence.get("not_needed") for finding in limited)
    needed = required or {finding.key for finding in limited if not finding.evidence.get("not_needed")}
    passed = {finding.key for finding in findings if finding.verdict is Verdict.PASS}
    stopped = any(finding.evidence.get("gate") for finding in findings)
    enough = bool(needed) and needed <= passed and not stopped and not lacking
    return Verdict.PASS if enough else Verdict.INCONCLUSIVE


def named_faults(findings: Sequence[Finding]) -> list[str]:
    """Return the names of the defects that failing findings point to, deepest first, each once."""
    names = {finding.fault for finding in findings if finding.verdict is Verdict.FAIL and finding.fault}
    depth = {name: place for place, name in enumerate(DEFECTS)}
    return sorted(names, key=lambda name: (depth.get(name, len(depth)), name))


def root_cause(findings: Sequence[Finding]) -> str:
    """Return the first of :func:`named_faults`, empty when nothing fails."""
    return next(iter(named_faults(findings)), "")

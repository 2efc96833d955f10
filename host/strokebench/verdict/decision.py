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
from strokebench.verdict.effects import Effects, table
from strokebench.verdict.hypotheses import Hypothesis, rank

SUPPLY = ("weak_battery", "charger_ripple")
"""Defects that are the supply's."""
NO_LIMIT = "for information, no limit is set"


def judge(findings: Iterable[Finding], k: float = COVERAGE, kind: str = "") -> list[Finding]:
    """Return the findings with verdicts; failures that follow from another become inconclusive and say so.

    ``kind`` of the part: what its defects do to its findings.
    """
    return attribute([verdict_of(finding, k) for finding in findings], kind)


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


def attribute(findings: Sequence[Finding], kind: str = "") -> list[Finding]:
    """Return the findings; those that fail only because of another defect are inconclusive with the reason.

    What a defect does to the others is the table's that injection made for the ``kind`` of part
    (:mod:`strokebench.verdict.hypotheses`); what hides everything, and what the table does not know, goes by
    :data:`strokebench.diagnose.defects.DEFECTS`.
    """
    failing = {finding.fault: finding for finding in reversed(findings) if finding.verdict is Verdict.FAIL}
    families = table().get(kind, ())
    known = {name for effects in families for name in effects.defects}
    hidden = [_follows(finding, _cause(finding, failing, known)) for finding in findings]
    ranked = rank(_of_part(hidden), families)
    return [_explained(finding, ranked[0], failing, families) for finding in hidden] if ranked else hidden


def _of_part(findings: Sequence[Finding]) -> list[Finding]:
    """The findings without those of the bench's supply: what it does to others is no matter of a part."""
    return [finding for finding in findings if finding.fault not in SUPPLY]


def _follows(finding: Finding, cause: Finding | None) -> Finding:
    if finding.verdict is not Verdict.FAIL or cause is None:
        return finding
    reason = f'out of limits, but this follows from "{cause.title}"'
    evidence = {**finding.evidence, "follows_from": cause.fault}
    return finding.with_(verdict=Verdict.INCONCLUSIVE, reason=reason, evidence=evidence)


def _explained(
    finding: Finding, best: Hypothesis, failing: dict[str, Finding], families: Sequence[Effects]
) -> Finding:
    """A failure that the best hypothesis predicts without a defect of its own."""
    fault = finding.fault
    if finding.verdict is not Verdict.FAIL or not fault or fault in best.defects or fault in SUPPLY:
        return finding
    moved = (
        name for name in best.defects
        if fault in _explains(name) or any(finding.key in of.defects.get(name, {}) for of in families)
    )  # fmt: skip
    cause = next(moved, None)  # what the hypothesis does not move stays a failure of its own
    return _follows(finding, None if cause is None else failing[cause])


def _explains(name: str) -> tuple[str, ...]:
    """What a defect is declared to explain: findings that never had a value beside it are in no table."""
    return DEFECTS[name].explains if name in DEFECTS else ()


def _cause(finding: Finding, failing: dict[str, Finding], known: set[str]) -> Finding | None:
    """The deepest failing finding that hides this one, or that explains it where the table knows nothing."""
    own = DEFECTS[finding.fault].explains if finding.fault in DEFECTS else ()
    for name, deeper in DEFECTS.items():
        if name == finding.fault or name not in failing:
            continue
        if ALL in deeper.explains and name not in own:
            return failing[name]
        if finding.fault in deeper.explains and name not in known:
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

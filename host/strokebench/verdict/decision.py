"""Verdicts: guard-banded per finding, then over the whole run, and the name of what is wrong.

A finding passes only when it lies inside its limits by its expanded uncertainty U = k u, fails only when
outside by U, and is inconclusive between (decision rule of ISO 14253-1; conformance probability after JCGM
106:2012). One without limits is for information.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

import numpy as np

from strokebench.data.findings import COVERAGE, Finding, Verdict
from strokebench.diagnose.defects import ALL, DEFECTS
from strokebench.verdict.effects import NOTHING_KNOWN, SIZES, Effects, table
from strokebench.verdict.hypotheses import HOLDS, Hypothesis, can_be_told, rank
from strokebench.verdict.likelihood import Seen, at_its_place, failed, moved_by

SUPPLY = ("weak_battery", "charger_ripple")
"""Defects that are the supply's."""
FOLLOWS, POINTED, SUSPECTS = "follows_from", "pointed_to", "suspects"
"""Marks in a finding's evidence: the defect that it follows from, what it pointed to by itself, and defects
that are likely beside it."""
LIKELY = 0.5
"""Probability from which a failure may show a defect that none of its own findings shows."""
SUSPECTED = 0.6
"""Probability from which such a defect is named (by cross-validation: fewer thirds are invented)."""
BEYOND = 5.0
"""A failure further out than predicted by so many standard deviations is not explained (judgement)."""
NO_LIMIT = "for information, no limit is set"


def judge(
    findings: Iterable[Finding], k: float = COVERAGE, kind: str = "", *, renames: bool = True
) -> list[Finding]:
    """Return the findings with verdicts; failures that follow from another become inconclusive and say so.

    ``kind`` of the part: what its defects do to its findings. ``renames``: whether a failure may be put down
    to a defect that none of its own findings shows; not where most findings are lacking for other reasons.
    """
    return attribute([verdict_of(finding, k) for finding in findings], kind, renames=renames)


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


def attribute(findings: Sequence[Finding], kind: str = "", *, renames: bool = True) -> list[Finding]:
    """Return the findings; those that fail only because of another defect are inconclusive with the reason.

    What a defect does to the others is the table's that injection made for the ``kind`` of part
    (:mod:`strokebench.verdict.hypotheses`); what hides everything, and what the table does not know, goes by
    :data:`strokebench.diagnose.defects.DEFECTS`.
    """
    effects = table().get(kind, NOTHING_KNOWN)
    hidden = without_consequences(findings, effects)
    ranked = rank(hidden, effects, SUPPLY)
    if not ranked:
        return hidden
    leading = ranked[0]
    settled = settle(hidden, leading, effects, renames=renames and leading.probability >= LIKELY)
    return with_suspects(settled, ranked)


def with_suspects(findings: list[Finding], ranked: Sequence[Hypothesis]) -> list[Finding]:
    """Return the findings; the first that fails carries the suspects: defects of the leading hypothesis that
    no failing finding shows, likely enough (:data:`SUSPECTED`), each with its probability."""
    named = named_faults(findings)
    found = {}
    for name in ranked[0].defects:
        probability = sum(each.probability for each in ranked if name in each.defects)
        if name not in named and probability >= SUSPECTED:
            found[name] = round(probability, 2)
    first = next((place for place, each in enumerate(findings) if each.verdict is Verdict.FAIL), None)
    if not found or first is None:
        return findings
    evidence = {**findings[first].evidence, SUSPECTS: found}
    return [*findings[:first], findings[first].with_(evidence=evidence), *findings[first + 1 :]]


def unsettled(findings: Sequence[Finding]) -> list[Finding]:
    """Return judged findings as they were before anything was explained by anything else."""
    out = []
    for finding in findings:
        marks = {FOLLOWS, POINTED, SUSPECTS}
        evidence = {key: value for key, value in finding.evidence.items() if key not in marks}
        fault = str(finding.evidence.get(POINTED, finding.fault))
        failed = FOLLOWS in finding.evidence
        verdict, reason = (Verdict.FAIL, "") if failed else (finding.verdict, finding.reason)
        out.append(finding.with_(fault=fault, evidence=evidence, verdict=verdict, reason=reason))
    return out


def without_consequences(findings: Sequence[Finding], effects: Effects) -> list[Finding]:
    """Return the findings; a failure that follows from a defect that no table knows is inconclusive."""
    failing = {finding.fault: finding for finding in reversed(findings) if finding.verdict is Verdict.FAIL}
    return [_follows(finding, _cause(finding, failing, effects)) for finding in findings]


def _follows(finding: Finding, cause: Finding | None) -> Finding:
    if finding.verdict is not Verdict.FAIL or cause is None:
        return finding
    reason = f'out of limits, but this follows from "{cause.title}"'
    evidence = {**finding.evidence, FOLLOWS: cause.fault}
    return finding.with_(verdict=Verdict.INCONCLUSIVE, reason=reason, evidence=evidence)


def _cause(finding: Finding, failing: dict[str, Finding], effects: Effects) -> Finding | None:
    """The deepest failing finding of a defect that is in no table and is declared to explain this one."""
    own = DEFECTS[finding.fault].explains if finding.fault in DEFECTS else ()
    for name, deeper in DEFECTS.items():
        if name == finding.fault or name not in failing or name in effects.defects:
            continue
        if finding.fault in deeper.explains or (ALL in deeper.explains and name not in own):
            return failing[name]
    return None


def settle(
    findings: Sequence[Finding], leading: Hypothesis, effects: Effects, *, renames: bool = True
) -> list[Finding]:
    """Return the findings as the leading hypothesis explains them.

    A failure that points to one of its defects stays. Another that one of them moves, as far as it is out,
    follows from it. Where none of a defect's own findings fails, the failure that it moves furthest shows it,
    and says so, unless ``renames`` is false: then each keeps its own name. Anything else stays a defect of
    its own.
    """
    defects = leading.defects
    beyond = _beyond(findings, leading, effects)
    shown = {finding.fault for finding in findings if finding.verdict is Verdict.FAIL}
    causes = [
        ("", 0.0)
        if each.key in beyond or each.fault in SUPPLY
        else moved_by(each, tuple(name for name in defects if at_its_place(name, each, findings)), effects)
        for each in findings
    ]
    instead: dict[int, str] = {}
    for name in defects:
        by_reach = [(reach, place) for place, (cause, reach) in enumerate(causes) if cause == name]
        if renames and name not in shown and by_reach:
            instead[max(by_reach)[1]] = name
    titles = {finding.fault: finding for finding in reversed(findings) if finding.verdict is Verdict.FAIL}
    titles |= {name: findings[place] for place, name in instead.items()}
    out = []
    for place, (finding, (cause, _)) in enumerate(zip(findings, causes, strict=True)):
        if place in instead:
            out.append(_points_to(finding, instead[place]))
        else:
            source = titles.get(cause)
            out.append(_follows(finding, source.with_(fault=cause) if source else None))
    return out


def _beyond(findings: Sequence[Finding], leading: Hypothesis, effects: Effects) -> set[str]:
    """Keys of failing findings that are further out than the hypothesis predicts at its best sizes, where
    their own defect is one that the table knows, and that could be told beside those of the hypothesis."""
    if not leading.sizes:
        return set()
    seen = Seen.of(findings, effects)
    at = tuple(int(np.argmin(np.abs(SIZES - size))) for size in leading.sizes)
    mean, variance = (each[at] for each in seen.predict(leading.defects))
    good = [effects.good[each.key][0] for each in seen.known]
    off = (seen.value - mean) * np.sign(seen.value - good) / np.sqrt(variance)
    return {
        each.key
        for each, far in zip(seen.known, off, strict=True)
        if failed(each)
        and each.fault in effects.defects
        and each.fault not in HOLDS
        and far > BEYOND
        and can_be_told((*leading.defects, each.fault))
    }


def _points_to(finding: Finding, name: str) -> Finding:
    """A failure that shows another defect than the one it is named after."""
    evidence = {**finding.evidence, POINTED: finding.fault}
    return finding.with_(fault=name, evidence=evidence)


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


def suspects(findings: Sequence[Finding]) -> dict[str, float]:
    """Return the defects that are likely there without a failing finding: name -> probability."""
    return {
        str(name): float(probability)
        for finding in findings
        if finding.verdict is Verdict.FAIL
        for name, probability in finding.evidence.get(SUSPECTS, {}).items()
    }


def root_cause(findings: Sequence[Finding]) -> str:
    """Return the first of :func:`named_faults`, empty when nothing fails."""
    return next(iter(named_faults(findings)), "")

"""Verdicts: guard-banded per finding, then over the whole run, and the name of what is wrong.

A finding passes only when it lies inside its limits by its expanded uncertainty U = k u, fails only when
outside by U, and is inconclusive between (decision rule of ISO 14253-1; conformance probability after JCGM
106:2012).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from strokebench.data.findings import Finding, Verdict

COVERAGE = 2.0
"""k: about 95 % for a normal distribution, false acceptance at one limit about 2.5 % (ILAC-G8:2019)."""

NO_LIMIT = "for information, no limit is set"

STOPS = ("short_travel", "stop_shifted")
LOADS = ("unbalanced", "dragging", "clogged", "worn", "obstructed")

# What a defect brings with it: findings listed here, failing beside it, follow from it and are not defects of
# their own. Order is by depth. "*" stands for all findings but those that have it as a consequence.
CONSEQUENCES: dict[str, tuple[str, ...]] = {
    "open_winding": ("*",),
    # a winding behind a bad lead gets less voltage than its figures are reckoned with
    "lead_resistance": (
        "shorted_turns",
        "stuck_shut",
        "slow",
        "slow_start",
        "weak_spring",
        "binding",
        *STOPS,
    ),
    "shorted_turns": (
        "weak_motor",
        "weak_spring",
        "sticky",
        "slow",
        "binding",
        "no_return",
        "short_travel",
    ),
    "open_wire": ("*",),
    "blocked": ("*",),
    "bad_crimp": ("supply_resistance", "ground_resistance"),
    # an open coil also takes its share from the mean back-EMF
    "bad_segment": ("lead_resistance", "shorted_turns", "worn_brush", "weak_magnet", "slow_start", *LOADS),
    "worn_brush": ("lead_resistance", "shorted_turns", "slow_start", *LOADS),
    "weak_magnet": ("slow_start", "high_inrush"),
    "weak_motor": ("weak_spring", "weak_rest_spring", "sticky", "slow"),
    "track_shorted": ("track_dead", "worn_track", "track_mismatch", "track_range", *STOPS),
    "track_dead": ("worn_track", "track_mismatch", "track_range", *STOPS),
    "leaky_freewheel": ("shorted_turns", "sticky"),
    "jammed": ("*",),
    "stuck_closed": ("*",),
    "stuck_shut": ("*",),
    "stuck_open": ("*",),
    "worn_track": ("track_mismatch", "track_range", "binding", *STOPS),
    "weak_battery": ("slow", "slow_start", *STOPS),
    "dry": ("worn", "clogged", "unbalanced"),
    "dragging": ("slow_start", "clogged", "obstructed"),
    "broken_blade": ("obstructed", "slow_start"),
    "worn": ("clogged", "slow_start"),
    "clogged": ("slow_start",),
    "obstructed": ("slow_start",),
    "carbon_seat": ("no_return", "sticky_seat", "slow", "rest_shifted", "track_range", *STOPS),
    "sticky_seat": ("no_return", "sticky", "weak_spring", "slow", "rest_shifted"),
    "binding": ("sticky", "weak_rest_spring", "no_return", "slow", "rest_shifted", "track_range", *STOPS),
    "sticky": ("weak_rest_spring", "no_return", "slow", "rest_shifted", "low_friction", *STOPS),
    "weak_spring": ("no_return", "slow", "rest_shifted", "sticky", "low_friction"),
    "weak_rest_spring": ("no_return", "slow", "rest_shifted"),
    "no_return": ("rest_shifted", "slow"),
    "short_travel": ("stop_shifted", "track_range", "slow"),
    "track_mismatch": ("stop_shifted", "track_range"),
    "track_range": ("stop_shifted",),
}


def judge(findings: Iterable[Finding], k: float = COVERAGE) -> list[Finding]:
    """Return the findings with verdicts; failures that follow from another become inconclusive and say so."""
    return attribute([verdict_of(finding, k) for finding in findings])


def verdict_of(finding: Finding, k: float = COVERAGE) -> Finding:
    """Return one finding with its verdict by the guard band of k u on each limit."""
    if not finding.known:
        return finding.with_(verdict=Verdict.INCONCLUSIVE, reason=finding.reason or "no value was found")
    if finding.lower is None and finding.upper is None:
        return finding.with_(verdict=Verdict.INCONCLUSIVE, reason=finding.reason or NO_LIMIT)
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
    failing = {one.fault: one for one in reversed(findings) if one.verdict is Verdict.FAIL and one.fault}
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
    own = CONSEQUENCES.get(finding.fault, ())
    for name, explained in CONSEQUENCES.items():
        if name == finding.fault or name not in failing:
            continue
        if finding.fault in explained or ("*" in explained and name not in own):
            return failing[name]
    return None


def overall(findings: Sequence[Finding], required: frozenset[str] = frozenset()) -> Verdict:
    """Return the verdict of a run: fail if any fails, else inconclusive if a required one is, else pass.

    ``required``: keys without which nothing may pass; empty means every finding that has a limit. A required
    finding that is not there at all is inconclusive too, and so is a run without findings.
    """
    if any(one.verdict is Verdict.FAIL for one in findings):
        return Verdict.FAIL
    limited = {one.key for one in findings if one.lower is not None or one.upper is not None}
    needed = required or limited
    passed = {one.key for one in findings if one.verdict is Verdict.PASS}
    stopped = any(one.evidence.get("gate") for one in findings)
    return Verdict.PASS if needed and needed <= passed and not stopped else Verdict.INCONCLUSIVE


def named_faults(findings: Sequence[Finding]) -> list[str]:
    """Return the names of the defects that failing findings point to, deepest first, each once."""
    names = {one.fault for one in findings if one.verdict is Verdict.FAIL and one.fault}
    order = list(CONSEQUENCES)
    return sorted(names, key=lambda name: order.index(name) if name in order else len(order))


def root_cause(findings: Sequence[Finding]) -> str:
    """Return the first of :func:`named_faults`, empty when nothing fails."""
    return next(iter(named_faults(findings)), "")

"""Two recordings of the same kind of part: which findings differ by more than their uncertainty."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from strokebench.bench.budget import budget_of
from strokebench.data.findings import Finding, Verdict
from strokebench.data.samples import READINGS
from strokebench.diagnose import diagnose
from strokebench.errors import UsageError
from strokebench.verdict import COVERAGE
from strokebench.verdict.examine import examine

if TYPE_CHECKING:
    from strokebench.data.run import RunData
    from strokebench.diagnose.stats import Floats
    from strokebench.parts.profile import Profile

SAME_BENCH = (
    "The same bench with the same calibration measured both. Their common errors of gain and offset cancel in"
    " a difference. A fifth of them stays in its uncertainty, for drift between the two."
)
DRIFT_SHARE = 0.2
"""Of gain and offset, what warmth and time may change between two runs of one bench (judgement)."""
RESOLUTION = 0.001 / math.sqrt(12)
"""Standard uncertainty of a row's rounding to 1 mA or 1 mV (rectangular, JCGM 100:2008, F.2.2.1)."""
OTHER_BENCH = "Different benches or calibrations measured them. Each value has its whole uncertainty."


@dataclass(frozen=True)
class Side:
    """One of the two: a run, its profile, where it came from, its judged findings."""

    run: RunData
    profile: Profile
    source: str
    findings: list[Finding]
    verdict: Verdict

    @property
    def info(self) -> dict[str, Any]:
        """What the recording knows about itself."""
        return self.run.info


def side(run: RunData, profile: Profile, source: str) -> Side:
    """Return a run diagnosed and judged by its profile."""
    return Side(run, profile, source, *examine(run, profile))


@dataclass(frozen=True)
class Difference:
    """One finding of both: values ``a`` and ``b``, and the standard uncertainty ``u`` of ``b - a``."""

    key: str
    title: str
    unit: str
    a: float
    b: float
    u: float
    lower: float | None = None
    upper: float | None = None
    before: Verdict = Verdict.INFO
    after: Verdict = Verdict.INFO

    @property
    def meaning(self) -> str:
        """What became of the verdict: "now passes", "still fails", "now fails", "worse", "no longer fails"
        (but does not pass either); else empty.

        "worse": it fails as before, and lies further out by more than the uncertainty of the difference.
        """
        if self.before is Verdict.FAIL and self.after is Verdict.FAIL:
            return "worse" if self.real and self._outside(self.b) > self._outside(self.a) else "still fails"
        if self.after is Verdict.FAIL:
            return "now fails"
        if self.after is Verdict.PASS:
            return "now passes" if self.before in (Verdict.FAIL, Verdict.INCONCLUSIVE) else ""
        return "no longer fails" if self.before is Verdict.FAIL else ""

    def _outside(self, value: float) -> float:
        """How far ``value`` lies beyond its limits."""
        below = 0.0 if self.lower is None else self.lower - value
        return max(below, 0.0 if self.upper is None else value - self.upper)

    @property
    def change(self) -> float:
        """B minus A."""
        return self.b - self.a

    @property
    def real(self) -> bool:
        """True when the change is beyond its expanded uncertainty (k = 2)."""
        return abs(self.change) > COVERAGE * self.u

    @property
    def score(self) -> float:
        """Change in units of its expanded uncertainty (as the E_n number of ISO 13528 does); NaN without."""
        return self.change / (COVERAGE * self.u) if self.u > 0 else math.nan


@dataclass(frozen=True)
class Comparison:
    """All of it: differences, findings that only one side knows (title -> reason), what to bear in mind."""

    a: Side
    b: Side
    differences: list[Difference]
    unknown: dict[str, str]
    remarks: list[str]

    @property
    def real(self) -> list[Difference]:
        """Differences beyond uncertainty, largest first."""
        return sorted(
            (difference for difference in self.differences if difference.real),
            key=lambda difference: -abs(difference.score),
        )


def compare(a: Side, b: Side) -> Comparison:
    """Compare two runs; UsageError when their parts are of different kinds."""
    if a.profile.kind != b.profile.kind:
        raise UsageError(
            f"A is of kind {a.profile.kind!r}, B of kind {b.profile.kind!r}: they cannot be compared.",
            "Name two recordings of the same kind of part.",
        )
    shared = same_bench(a.run, b.run)
    spreads = [_uncertainties(side, shared) for side in (a, b)]
    differences, unknown = [], {}
    others = {finding.key: finding for finding in b.findings}
    for mine in a.findings:
        other = others.get(mine.key)
        reason = _why_not(mine, other, spreads)
        if other is None or reason:
            unknown[mine.title] = reason
            continue
        u = math.hypot(spreads[0][mine.key], spreads[1][mine.key])
        differences.append(Difference(
            mine.key, mine.title, mine.unit, mine.value, other.value, u,
            other.lower, other.upper, mine.verdict, other.verdict,
        ))  # fmt: skip
    return Comparison(a, b, differences, unknown, _remarks(a, b, shared))


def _why_not(mine: Finding, other: Finding | None, spreads: Sequence[dict[str, float]]) -> str:
    if other is None:
        return "B does not have it"
    for letter, finding, spread in (("A", mine, spreads[0]), ("B", other, spreads[1])):
        if not finding.known:
            return f"{letter}: {finding.reason or 'not known'}"
        if not math.isfinite(spread.get(finding.key, math.nan)):
            return f"{letter}: its uncertainty is not known"
    return ""


def same_bench(a: RunData, b: RunData) -> bool:
    """Tell whether both recordings carry the same bench's id and calibration."""
    ids = [run.info.get("identity") or {} for run in (a, b)]
    named = [(identity.get("uid"), identity.get("calibration_id")) for identity in ids]
    return bool(named[0][0]) and named[0] == named[1]


def _uncertainties(side: Side, shared: bool) -> dict[str, float]:
    """Standard uncertainties by key; ``shared``: as if gain and offset only drifted."""
    whole = {finding.key: finding.u for finding in side.findings}
    if not shared:
        return whole
    unjudged = diagnose(with_shared_errors_out(side.run), side.profile)
    own = {finding.key: finding.u for finding in unjudged}
    return {key: min(u, own.get(key, u)) if math.isfinite(u) else u for key, u in whole.items()}


def with_shared_errors_out(run: RunData) -> RunData:
    """Return the run with the accuracy that counts in a difference: noise, and what may have drifted of gain
    and offset, at least the resolution of a row.
    """
    accuracy, bench = {}, budget_of(run.info)
    for name in READINGS:
        default, own = bench.channel_of(name, 0.0), run.accuracy.get(name, {})
        offset = own.get("offset", math.hypot(default.offset, default.linearity))
        accuracy[name] = {
            "offset": max(DRIFT_SHARE * offset, RESOLUTION),
            "gain": DRIFT_SHARE * own.get("gain", default.gain),
            "noise": own.get("noise", default.noise),
        }
    return replace(run, accuracy=accuracy)


def _remarks(a: Side, b: Side, shared: bool) -> list[str]:
    remarks = [SAME_BENCH if shared else OTHER_BENCH]
    if a.profile.procedure != b.profile.procedure:
        remarks.append("The two ran different procedures. Findings may depend on that.")
    warm = [
        float(np.nanmean(t)) for t in (side.run.samples["part_c"] for side in (a, b)) if np.isfinite(t).any()
    ]
    if len(warm) == 2 and abs(warm[0] - warm[1]) > 5:
        remarks.append(f"The parts were not equally warm: {warm[0]:.0f} and {warm[1]:.0f} C.")
    for letter, side in (("A", a), ("B", b)):
        if side.info.get("outcome") not in (None, "done"):
            remarks.append(f"Run {letter} did not end as planned ({side.info['outcome']}).")
    return remarks


def aligned_s(a: RunData, b: RunData) -> Floats | None:
    """Return B's sample times on A's clock, segment by segment, NaN beyond what both ran.

    None when they did not even begin with the same segments.
    """
    pairs = []
    for mine, other in zip(a.marks, b.marks, strict=False):
        if mine.label != other.label:
            break
        pairs.append((mine, other))
    if not pairs:
        return None
    edges = [[*(mark.start_s for mark in marks), marks[-1].end_s] for marks in zip(*pairs, strict=True)]
    if not all((np.diff(times_s) > 0).all() for times_s in edges):
        return None
    time_s = np.asarray(b.samples["time_s"], float)
    whole = len(pairs) == len(a.marks) == len(b.marks)
    beyond = None if whole else np.nan
    return np.asarray(np.interp(time_s, edges[1], edges[0], right=beyond), float)

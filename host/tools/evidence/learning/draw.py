"""Learning from some simulated good parts and judging others by what was learnt."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from strokebench.data.findings import Finding, Verdict
from strokebench.parts import load_part
from strokebench.parts.learnt import LimitSums
from strokebench.parts.profile import FindingLimit, Profile
from strokebench.verdict.decision import verdict_of
from strokebench.verdict.learning.here import limits_here
from strokebench.verdict.learning.learn import limits_from
from strokebench.verdict.learning.readings import Readings, learnable, readings_of
from strokebench.verdict.learning.scale import Scale
from strokebench.verdict.learning.sums import Sums, sums_of
from strokebench.verdict.learning.surroundings import Surroundings

from tools.evidence.shifts import as_finding
from tools.evidence.workers import Record


@dataclass(frozen=True)
class Stroked:
    """A simulated part that was stroked: what is wrong with it, its findings, and where it was."""

    name: str
    seed: int
    findings: list[Finding]
    at: Surroundings
    readings: Readings
    failed_before: bool
    """The built-in limits fail it, or the self-test refused it."""
    refused: bool = False


def stroked(record: Record, base: Profile, scales: Mapping[str, Scale]) -> Stroked:
    """Return a trial's record as it is learnt from and judged."""
    seed, failed = int(record["spec"]["seed"]), record["verdict"] == "fail"
    if "readings" not in record:
        return Stroked(record["name"], seed, [], Surroundings(), {}, True, refused=True)
    at = Surroundings(**record["surroundings"])
    findings = [as_finding(reading) for reading in record["readings"]]
    readings = readings_of(findings, at, base, scales)
    wanted = [finding for finding in findings if finding.key in scales]
    return Stroked(record["name"], seed, wanted, at, readings, failed)


def cell(records: Sequence[Record], part: str) -> list[Stroked]:
    """Return the parts of one kind and family."""
    base = load_part(part)
    scales = learnable(base)
    return [stroked(record, base, scales) for record in records]


def profile_from(good: Sequence[Stroked], base: Profile, scales: Mapping[str, Scale]) -> Profile:
    """Return the profile that is learnt from good parts."""
    sums: dict[str, tuple[Sums, Scale]] = {}
    for key, scale in scales.items():
        sums[key] = (sums_of(part.readings[key] for part in good if key in part.readings), scale)
    limits = {}
    for limit in limits_from(sums, base, []).limits:
        kept = LimitSums(
            parts=limit.sums.parts, mean=limit.sums.mean, squares=limit.sums.squares, u2=limit.sums.u2,
            scale=limit.scale.kind, unit=limit.scale.unit,  # type: ignore[arg-type]
        )  # fmt: skip
        limits[limit.key] = FindingLimit(lower=limit.lower, upper=limit.upper, learnt=kept)
    return base.model_copy(update={"findings": limits})


def verdict_by(part: Stroked, profile: Profile) -> tuple[Verdict, tuple[str, ...]]:
    """Return the verdict of a part by learnt limits alone, and the findings that fail."""
    limited = [
        finding.with_(lower=profile.findings[finding.key].lower, upper=profile.findings[finding.key].upper)
        for finding in part.findings if finding.key in profile.findings
    ]  # fmt: skip
    judged = [verdict_of(finding) for finding in limits_here(limited, profile, part.at)]
    failing = tuple(finding.key for finding in judged if finding.verdict is Verdict.FAIL)
    if failing:
        return Verdict.FAIL, failing
    passes = all(finding.verdict is Verdict.PASS for finding in judged if finding.known)
    return (Verdict.PASS if passes else Verdict.INCONCLUSIVE), ()


def changed(parts: Sequence[Stroked], by: float, scales: Mapping[str, Scale]) -> list[Stroked]:
    """Return parts whose findings lie ``by`` as far from their middle: a type that spreads unlike the
    prior's.

    Findings that end at zero stay as they are.
    """
    middle = {
        key: float(np.mean([part.readings[key][0] for part in parts if key in part.readings]))
        for key, scale in scales.items()
        if scale.kind != "zero" and any(key in part.readings for part in parts)
    }
    return [_stretched(part, middle, by, scales) for part in parts]


def _stretched(part: Stroked, middle: Mapping[str, float], by: float, scales: Mapping[str, Scale]) -> Stroked:
    readings, findings = dict(part.readings), []
    for finding in part.findings:
        if finding.key in readings and finding.key in middle:
            value, u = readings[finding.key]
            readings[finding.key] = (middle[finding.key] + by * (value - middle[finding.key]), u)
            scale = scales[finding.key]
            before, after = scale.back(value), scale.back(readings[finding.key][0])
            share = finding.value / before if scale.kind == "log" else 1.0
            finding = finding.with_(value=after * share)
        findings.append(finding)
    return replace(part, readings=readings, findings=findings)

"""Learning from some simulated good parts and judging others by what was learnt."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

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

from tools.evidence.effects import as_finding
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


def changed(parts: Sequence[Stroked], by: float) -> list[Stroked]:
    """Return parts that spread ``by`` as much around their middle, in each finding: a type unlike the prior's."""
    keys = {key for part in parts for key in part.readings}
    middle = {
        key: float(np.mean([part.readings[key][0] for part in parts if key in part.readings])) for key in keys
    }
    return [_stretched(part, middle, by) for part in parts]


def _stretched(part: Stroked, middle: Mapping[str, float], by: float) -> Stroked:
    readings = {
        key: (middle[key] + by * (value - middle[key]), u) for key, (value, u) in part.readings.items()
    }
    return Stroked(part.name, part.seed, part.findings, part.at, readings, part.failed_before, part.refused)

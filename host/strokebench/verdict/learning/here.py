"""Learnt limits at the supply and the temperature of the run that is judged."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from strokebench.data.findings import COVERAGE
from strokebench.verdict.learning.limits import FEWEST
from strokebench.verdict.learning.motor import Motor, motor_of
from strokebench.verdict.learning.refer import REFERRED, Ratio, ratio_of
from strokebench.verdict.learning.scale import Scale
from strokebench.verdict.learning.surroundings import Surroundings

if TYPE_CHECKING:
    from strokebench.data.findings import Finding
    from strokebench.parts.profile import Profile


def limits_here(findings: Sequence[Finding], profile: Profile, at: Surroundings) -> list[Finding]:
    """Return unjudged findings with learnt limits moved from 12.6 V and 20 C to where the run was made.

    By the model of the good parts' own figures, never of the part that is judged. The law's uncertainty
    widens them. ``evidence["limits_at"]`` of a finding whose limits moved: supply in V, temperature in C,
    and both limits as the profile has them.
    """
    wanted = [
        key for key, limit in profile.findings.items()
        if key in REFERRED and limit.learnt and limit.learnt.parts >= FEWEST
    ]  # fmt: skip
    motor = good_motor(profile) if wanted else None
    moved = {key: ratio_of(profile.kind, key, at, motor) for key in wanted}
    return [
        _moved(finding, moved[finding.key], at) if finding.key in moved else finding for finding in findings
    ]


def good_motor(profile: Profile) -> Motor | None:
    """Return the model of what the good parts have in common, None for parts that do not turn."""
    centres = {
        key: Scale(limit.learnt.scale, 0.0, 1.0, limit.learnt.unit).back(limit.learnt.mean)
        for key, limit in profile.findings.items() if limit.learnt
    }  # fmt: skip
    return motor_of(centres, profile.nominal)


def _moved(finding: Finding, change: Ratio, at: Surroundings) -> Finding:
    wide = COVERAGE * change.u
    lower = None if finding.lower is None else finding.lower * change.ratio * max(1 - wide, 0.0)
    upper = None if finding.upper is None else finding.upper * change.ratio * (1 + wide)
    where = {"supply_v": at.supply_v, "part_c": at.part_c, "lower": finding.lower, "upper": finding.upper}
    return finding.with_(lower=lower, upper=upper, evidence={**finding.evidence, "limits_at": where})

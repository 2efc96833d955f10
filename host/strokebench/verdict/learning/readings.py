"""From a good part's findings to its numbers: referred to 12.6 V and 20 C, on the scale of each finding."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from strokebench.diagnose import kind_of
from strokebench.verdict.learning.motor import motor_of
from strokebench.verdict.learning.refer import ratio_of
from strokebench.verdict.learning.scale import Scale, scale_of
from strokebench.verdict.learning.surroundings import Surroundings

if TYPE_CHECKING:
    from strokebench.data.findings import Finding
    from strokebench.parts.profile import Profile

Readings = dict[str, tuple[float, float]]
"""Finding -> value and standard uncertainty on its scale."""


def learnable(base: Profile) -> dict[str, Scale]:
    """Return the findings that good parts can give limits to, with their scales.

    Those that have limits in ``base`` and are about the part, not about bench, supply or recording.
    """
    not_of_part = kind_of(base.kind).not_of_part
    found = {}
    for key, limit in base.findings.items():
        ends = [end for end in (limit.lower, limit.upper) if end is not None]
        if ends and key not in not_of_part:
            typical = max(map(abs, ends))
            found[key] = scale_of(base.kind, key, limit.lower is None, typical)
    return found


def sides(base: Profile, keys: Sequence[str]) -> int:
    """Return how many limits the findings have together."""
    limits = (base.findings[key] for key in keys)
    return sum((limit.lower is not None) + (limit.upper is not None) for limit in limits)


def readings_of(
    findings: Sequence[Finding], at: Surroundings, base: Profile, scales: Mapping[str, Scale]
) -> Readings:
    """Return the known findings that ``scales`` names, referred to 12.6 V and 20 C, on their scales."""
    known = {finding.key: finding for finding in findings if finding.known}
    motor = motor_of({key: finding.value for key, finding in known.items()}, base.nominal)
    found = {}
    for key, scale in scales.items():
        finding = known.get(key)
        if finding is None or not math.isfinite(finding.u):
            continue
        change = ratio_of(base.kind, key, at, motor)
        value = finding.value / change.ratio
        reading = scale.to(value, math.hypot(finding.u / change.ratio, value * change.u))
        if math.isfinite(reading[0]):
            found[key] = reading
    return found


def mean_of(repeats: Sequence[Readings]) -> Readings:
    """Return the readings of a part that was measured several times: means, and root mean square u."""
    found = {}
    for key in dict.fromkeys(key for readings in repeats for key in readings):
        values = [readings[key] for readings in repeats if key in readings]
        mean = sum(value for value, _ in values) / len(values)
        found[key] = (mean, math.sqrt(sum(u**2 for _, u in values) / len(values)))
    return found

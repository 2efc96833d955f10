"""What good parts have in common: limits of findings from several recordings of known-good parts."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from statistics import median
from typing import TYPE_CHECKING, Any

import numpy as np

from strokebench.diagnose import kind_of
from strokebench.errors import DataError, UsageError
from strokebench.verdict import COVERAGE
from strokebench.verdict.tolerance import CONFIDENCE, CONTENT, factor, robust

if TYPE_CHECKING:
    from strokebench.data.findings import Finding
    from strokebench.parts.profile import FindingLimit, Profile

FEWEST = 5
"""Below this the factor is so large that the limits say nothing, whatever anybody asks for."""
FAR_OUT = 4.0
"""Spreads from the median beyond which a part is pointed out (judgement): look whether it is good."""


@dataclass(frozen=True)
class Specimen:
    """One recording of a good part."""

    run_id: int
    serial: str
    part: str
    kind: str
    profile: dict[str, Any]
    findings: Sequence[Finding]


@dataclass(frozen=True)
class LearntLimit:
    """Limits of one finding: median and robust spread over ``parts`` parts, median uncertainty ``u``."""

    key: str
    title: str
    unit: str
    parts: int
    runs: int
    centre: float
    spread: float
    u: float
    lower: float | None
    upper: float | None
    far_out: tuple[str, ...] = ()
    """Serial numbers of parts far from the others."""


@dataclass
class Learnt:
    """All that was learnt: limits, findings left alone with the reason, number of parts and of runs."""

    parts: int
    runs: int
    limits: list[LearntLimit] = field(default_factory=list)
    left: dict[str, str] = field(default_factory=dict)


LEAST_SPREAD = 0.1
"""In standard uncertainties: a smaller spread cannot be told from none. Engineering judgement."""


def learn(specimens: Sequence[Specimen], base: Profile, fewest: int) -> Learnt:
    """Return what ``specimens`` teach about the findings that have limits in ``base``.

    Repeats of one part count once, by their median. Raises :class:`UsageError` when ``fewest`` is less than
    5, :class:`DataError` for too few parts, runs without serial number, or runs of different kinds.
    """
    if fewest < FEWEST:
        raise UsageError(
            f"--min {fewest} is too few: limits need at least {FEWEST} parts.", "Record more good parts."
        )
    _same_kind(specimens)
    parts = {specimen.serial for specimen in specimens}
    if "" in parts:
        runs = ", ".join(str(specimen.run_id) for specimen in specimens if not specimen.serial)
        raise DataError(
            f"Without a serial number parts cannot be counted (run {runs}).",
            "Record with --serial, or name the other runs with --runs.",
        )
    _enough(len(parts), fewest, len(specimens))
    learnt = Learnt(len(parts), len(specimens))
    not_of_part = kind_of(base.kind).not_of_part
    for key, limit in base.findings.items():
        if key in not_of_part:
            learnt.left[key] = "belongs to bench and supply, not to the part"
            continue
        found = _learn_limit(key, limit, specimens, fewest)
        if isinstance(found, str):
            learnt.left[key] = found
        else:
            learnt.limits.append(found)
    return learnt


def _enough(parts: int, fewest: int, runs: int) -> None:
    if parts < fewest:
        raise DataError(
            f"There are {parts} different good parts in {runs} runs, {fewest} are needed.",
            "Record more of them, each with its own --serial; repeats of one part count once.",
        )


def _same_kind(specimens: Sequence[Specimen]) -> None:
    """DataError when the runs cannot be put together."""
    first = specimens[0] if specimens else None
    for specimen in specimens:
        assert first is not None
        for what, mine, other in (
            ("parts", specimen.part, first.part),
            ("kinds of part", specimen.kind, first.kind),
            ("procedures", specimen.profile.get("procedure"), first.profile.get("procedure")),
        ):
            if mine != other:
                raise DataError(
                    f"Runs {first.run_id} and {specimen.run_id} are of different {what}.",
                    "Name runs that belong together with --runs.",
                )


def _learn_limit(
    key: str, limit: FindingLimit, specimens: Sequence[Specimen], fewest: int
) -> LearntLimit | str:
    """Learn the limits of one finding, or return in words why not."""
    known = [
        (specimen.serial, finding)
        for specimen in specimens
        for finding in specimen.findings
        if finding.key == key and finding.known and math.isfinite(finding.u)
    ]
    by_part: dict[str, list[float]] = {}
    for serial, finding in known:
        by_part.setdefault(serial, []).append(finding.value)
    if len(by_part) < fewest:
        return f"known of {len(by_part)} parts only, {fewest} are needed"
    two_sided = limit.lower is not None and limit.upper is not None
    values = {serial: median(repeated) for serial, repeated in by_part.items()}
    centre, spread = (float(value) for value in robust(np.array(list(values.values()))))
    u = median(finding.u for _, finding in known)
    # Readings that all end at zero have no spread, and half of such parts read with more than the median u.
    reach = factor(len(values), two_sided) * max(spread, LEAST_SPREAD * u) + COVERAGE * u
    if reach <= 0:
        return "all parts gave the same value, without uncertainty: limits would be a point"
    lower = None if limit.lower is None else _not_below_zero(centre - reach, limit.lower, centre)
    upper = None if limit.upper is None else centre + reach
    far_out = tuple(sorted(who for who, value in values.items() if abs(value - centre) > FAR_OUT * spread))
    title, unit = known[0][1].title, known[0][1].unit
    return LearntLimit(
        key, title, unit, len(values), len(known), centre, spread, u, lower, upper, far_out if spread else ()
    )


def _not_below_zero(learnt: float, before: float, centre: float) -> float:
    """A quantity that the profile takes as never negative does not get a negative lower limit."""
    return 0.0 if learnt < 0 <= before and centre > 0 else learnt


def note(limit: LearntLimit, source: str) -> str:
    """Return where a limit comes from, for the profile."""
    return (
        f"learnt from {limit.parts} good parts ({limit.runs} runs) in {source}: median {limit.centre:.4g},"
        f" spread {limit.spread:.2g} (Qn), {CONTENT:.0%} of such parts with {CONFIDENCE:.0%} confidence,"
        f" widened by U = {COVERAGE * limit.u:.2g}"
    )


def rounded(value: float, step_like: float) -> float:
    """Return ``value`` to a hundredth of the order of ``step_like``; the digits beyond mean nothing."""
    if step_like <= 0:
        return value
    return round(value, 2 - math.floor(math.log10(step_like)))

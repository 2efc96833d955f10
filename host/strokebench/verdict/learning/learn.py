"""What good parts have in common: limits of findings from parts that somebody declared good."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from strokebench.errors import DataError
from strokebench.parts.learnt import Fleet, GoodPart
from strokebench.verdict.learning.belonging import Stranger, strangers
from strokebench.verdict.learning.limits import FEWEST, limits_of, more_parts, share_each, spread_of
from strokebench.verdict.learning.readings import Readings, learnable, mean_of, readings_of, sides
from strokebench.verdict.learning.scale import Scale
from strokebench.verdict.learning.sums import Sums, sums_of
from strokebench.verdict.learning.surroundings import Surroundings

if TYPE_CHECKING:
    from strokebench.data.findings import Finding
    from strokebench.parts.profile import Profile

NOWHERE = Surroundings()
"""Neither supply nor temperature were recorded."""


@dataclass(frozen=True)
class Specimen:
    """A recording of a part that somebody declared good; ``source`` such as "run 3 of shop.book"."""

    serial: str
    source: str
    part: str
    kind: str
    profile: dict[str, Any]
    findings: Sequence[Finding]
    at: Surroundings = NOWHERE
    measured: str = ""
    bench: str = ""
    calibration: str = ""


@dataclass(frozen=True)
class LearntLimit:
    """Limits of one finding in its unit at 12.6 V and 20 C; ``centre`` is where the good parts lie.

    ``spread``: standard deviation that the limit assumes, on the finding's scale; ``u``: of a reading, there.
    ``share``: of good parts that may fail on one side.
    """

    key: str
    sums: Sums
    scale: Scale
    centre: float
    spread: float
    u: float
    lower: float | None
    upper: float | None
    share: float

    @property
    def more(self) -> tuple[int, float] | None:
        """How many more parts bring the limits closer by which share, None when no number does."""
        return more_parts(self.sums, self.scale, self.share)


@dataclass
class Learnt:
    """Limits, findings that were left alone with the reason, the parts, and those that do not belong."""

    parts: list[GoodPart]
    sums: dict[str, tuple[Sums, Scale]]
    limits: list[LearntLimit] = field(default_factory=list)
    left: dict[str, str] = field(default_factory=dict)
    strangers: list[Stranger] = field(default_factory=list)
    fleet: Fleet | None = None


def learn(specimens: Sequence[Specimen], base: Profile, keep: Sequence[str] = ()) -> Learnt:
    """Return what ``specimens`` and the profile ``base``, if it was learnt itself, teach about its findings.

    Repeats of a part count as one part. ``keep``: serial numbers of parts that count although they do not
    seem to belong. Raises :class:`DataError` for fewer than 3 parts, recordings without serial number,
    recordings of different kinds of part, and a part that ``base`` was learnt from already.
    """
    _same_kind(specimens, base)
    counted_apart(base)
    _new(specimens, base)
    scales = learnable(base)
    parts = {
        serial: mean_of([readings_of(each.findings, each.at, base, scales) for each in some])
        for serial, some in _by_serial(specimens).items()
    }
    before = base.learnt.parts if base.learnt else []
    _enough(len(parts) + len(before))
    learnt_before = {key: kept[0] for key, kept in kept_sums(base).items()}
    sums = {key: (learnt_before.get(key, Sums()).merged(_sums(parts, key)), scales[key]) for key in scales}
    found = strangers(parts, learnt_before, scales)
    learnt = limits_from(sums, base, [*before, *map(_good_part, _by_serial(specimens).values())])
    learnt.strangers = [stranger for stranger in found if stranger.serial not in keep]
    return learnt


def limits_from(sums: Mapping[str, tuple[Sums, Scale]], base: Profile, parts: list[GoodPart]) -> Learnt:
    """Return the limits that ``sums`` give to the findings of ``base``."""
    learnt = Learnt(parts, {key: pair for key, pair in sums.items() if pair[0].parts})
    enough = [key for key, (total, _) in sums.items() if total.parts >= FEWEST]
    share = share_each(sides(base, enough))
    for key, (total, scale) in sums.items():
        if key not in enough:
            learnt.left[key] = f"known of {total.parts} parts only, {FEWEST} are needed"
        else:
            learnt.limits.append(_limit(key, total, scale, base, share))
    for key in base.findings:
        if key not in sums:
            learnt.left[key] = "belongs to bench and supply, not to the part"
    return learnt


def forgetful(profile: Profile) -> Profile:
    """Return the profile without what was learnt before; its limits stay."""
    findings = {key: limit.model_copy(update={"learnt": None}) for key, limit in profile.findings.items()}
    return profile.model_copy(update={"findings": findings, "learnt": None})


def counted_apart(profile: Profile) -> None:
    """DataError for limits of a fleet: nobody could say whether a further part is counted there already."""
    if profile.learnt is not None and profile.learnt.fleet is not None:
        raise DataError(
            f"{profile.name} has limits of a fleet, which does not list its parts.",
            "Put the further parts into the lake, and make the limits anew.",
        )


def kept_sums(profile: Profile) -> dict[str, tuple[Sums, Scale]]:
    """Return what a learnt profile keeps, with the scales of this version; empty for one that was not learnt.

    Raises :class:`DataError` when it was learnt on other scales, as by another version.
    """
    found = {}
    for key, scale in learnable(profile).items():
        kept = profile.findings[key].learnt
        if kept is None:
            continue
        if (kept.scale, kept.unit) != (scale.kind, scale.unit):
            raise DataError(
                f"{profile.name} was learnt on another scale of {key}, by another version.",
                "Learn again from the recordings.",
            )
        found[key] = (Sums(kept.parts, kept.mean, kept.squares, kept.u2, kept.bench2), scale)
    return found


def _limit(key: str, sums: Sums, scale: Scale, base: Profile, share: float) -> LearntLimit:
    before = base.findings[key]
    low, high = limits_of(sums, scale, share)
    spread = spread_of(sums, scale)
    return LearntLimit(
        key, sums, scale, scale.back(sums.mean), spread.sigma, sums.u2**0.5,
        None if before.lower is None else low, None if before.upper is None else high,
        share,
    )  # fmt: skip


def _sums(parts: Mapping[str, Readings], key: str) -> Sums:
    return sums_of(readings[key] for readings in parts.values() if key in readings)


def _by_serial(specimens: Sequence[Specimen]) -> dict[str, list[Specimen]]:
    found: dict[str, list[Specimen]] = {}
    for specimen in specimens:
        found.setdefault(specimen.serial, []).append(specimen)
    return found


def _good_part(repeats: Sequence[Specimen]) -> GoodPart:
    first = min(repeats, key=lambda specimen: specimen.measured)
    return GoodPart(
        serial=first.serial, runs=[specimen.source for specimen in repeats], measured=first.measured[:10],
        bench=first.bench, calibration=first.calibration,
    )  # fmt: skip


def _enough(parts: int) -> None:
    if parts < FEWEST:
        raise DataError(
            f"There are {parts} different good parts, {FEWEST} are needed.",
            "Record more of them, each with its own --serial; repeats of one part count once.",
        )


def _new(specimens: Sequence[Specimen], base: Profile) -> None:
    """DataError when a recording has no serial number, or its part was learnt from before."""
    nameless = [specimen.source for specimen in specimens if not specimen.serial]
    if nameless:
        raise DataError(
            f"Without a serial number parts cannot be counted ({', '.join(nameless)}).",
            "Record with --serial, or leave them out of --good.",
        )
    known = {part.serial for part in base.learnt.parts} if base.learnt else set()
    again = sorted({specimen.serial for specimen in specimens} & known)
    if again:
        raise DataError(
            f"The profile was learnt from {', '.join(again)} before; a part counts once.",
            "Leave it out of --good.",
        )


def _same_kind(specimens: Sequence[Specimen], base: Profile) -> None:
    """DataError when the recordings cannot be put together."""
    procedure = base.procedure.model_dump(mode="json", exclude_none=True)
    for specimen in specimens:
        if specimen.kind != base.kind:
            raise DataError(
                f"{specimen.source} is of another kind of part: {specimen.kind}, not {base.kind}.",
                "Leave it out of --good.",
            )
        if specimen.profile.get("procedure", procedure) != procedure:
            raise DataError(
                f"{specimen.source} followed another procedure than {base.name} has.",
                "Leave it out of --good, or record it again.",
            )

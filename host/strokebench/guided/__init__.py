"""Guided procedures: the bench moves the part, a person answers what happened, both are evidence.

One TOML file each in this folder; :mod:`strokebench.parts.guide` says what stands in it. Here they are found
and turned into the profile that such a run is recorded and judged with.
"""

from __future__ import annotations

from importlib import resources
from typing import TYPE_CHECKING

from strokebench.errors import UsageError

if TYPE_CHECKING:
    from strokebench.parts.guide import Guide
    from strokebench.parts.profile import Profile

KIND = "guided"


def guide_names() -> list[str]:
    """Return the names of the guided procedures, sorted."""
    return sorted(
        file.name[:-5] for file in resources.files(__name__).iterdir() if file.name.endswith(".toml")
    )


def load_guide(name: str) -> Guide:
    """Return a guided procedure; UsageError for an unknown one, ProfileError for a malformed file."""
    from strokebench.parts.guide import Guide
    from strokebench.parts.toml import parse, validate

    if name not in guide_names():
        known = ", ".join(guide_names())
        raise UsageError(f"There is no guided procedure called {name!r}.", f"Known: {known}.")
    text = (resources.files(__name__) / f"{name}.toml").read_text(encoding="utf-8")
    return validate(Guide, parse(text, f"{name}.toml"), text, f"{name}.toml")


def guided_profile(guide: Guide, part: Profile) -> Profile:
    """Return the profile of a guided run: the part's limits and sensor, the guide's cautions and findings.

    Raises :class:`UsageError` when the guide is not for that kind of part.
    """
    from strokebench.parts.profile import FindingLimit, Profile

    if part.kind not in guide.kinds:
        raise UsageError(
            f"{guide.name} is not for parts of kind {part.kind!r}.", f"It is for: {', '.join(guide.kinds)}."
        )
    supply = {key: part.findings[key] for key in ("supply_lowest",) if key in part.findings}
    findings = {
        **supply,
        "answers_given": FindingLimit(lower=0.5, required=True, note="without answers nothing is known"),
        **{
            reading.key: FindingLimit(
                lower=reading.lower, upper=reading.upper, required=reading.judged, note=reading.source
            )
            for reading in guide.readings
        },
        **{
            conclusion.key: FindingLimit(lower=0.5, required=True, note=conclusion.source)
            for conclusion in guide.conclusions
        },
    }
    about = part.part.model_copy(
        update={
            "name": guide.name,
            "title": f"{guide.title}: {part.part.title}",
            "kind": KIND,
            "simulate_as": part.simulated,
            "connect": [*part.part.connect, *guide.connect],
            "cautions": list(guide.cautions),
            "acknowledge": True,
        }
    )
    return Profile(
        part=about, limits=part.limits, tracks=part.tracks, nominal=part.nominal, findings=findings,
        procedure=part.procedure.model_copy(update={"title": guide.title}), guided=guide,
    )  # fmt: skip

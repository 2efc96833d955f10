"""The page for the customer: verdict, plain cause, what was done, one picture, cautions, signatures."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from strokebench.data.findings import Verdict
from strokebench.report import content
from strokebench.report.annex import own_ids
from strokebench.verdict.basis import caveat

if TYPE_CHECKING:
    from strokebench.data.findings import Finding
    from strokebench.data.run import RunData
    from strokebench.parts.profile import Profile
    from strokebench.report.pictures.drawing import Picture
    from strokebench.report.workshop import Workshop

SIGNS = {"pass": "\u2713", "fail": "\u2717", "inconclusive": "?"}
"""Before the verdict's word, since colour never says it alone."""
DISCLAIMER = (
    "This report does not replace the vehicle maker's procedure, local rules, or the judgement of a qualified"
    " person."
)
MOST_CAUSES, MOST_REASONS = 3, 3


@dataclass(frozen=True)
class Outcome:
    """One verdict on the page: when, the word, and what is behind it in plain sentences."""

    when: str
    verdict: str
    caveat: str
    causes: list[content.Trouble]
    sentences: list[str]

    @property
    def sign(self) -> str:
        """The sign that goes with the word."""
        return SIGNS[self.verdict]


@dataclass(frozen=True)
class Customer:
    """What ``customer.html`` shows."""

    title: str
    part: str
    workshop: Workshop
    date: str
    facts: list[tuple[str, str]]
    outcomes: list[Outcome]
    done: str
    pictures: list[Picture]
    cautions: list[str]
    simulated: bool
    photos: Sequence[Any] = ()
    technician: str = ""
    signature: str = ""
    job: str = ""
    further: list[str] = field(default_factory=list)


def of_run(
    run: RunData,
    profile: Profile,
    findings: list[Finding],
    verdict: Verdict,
    workshop: Workshop,
    pictures: list[Picture],
) -> Customer:
    """Return the page for a run that belongs to no job, with the most telling of its pictures."""
    info = run.info
    pairs = [
        ("Customer", info.get("customer")), ("Serial number", info.get("part_serial")),
        ("Note", info.get("note")), ("Run", info.get("run_id")),
        ("Measured", workshop.moment(info.get("started_at"))),
    ]  # fmt: skip
    return Customer(
        title=f"{verdict.value.upper()}: {profile.part.title}",
        part=profile.part.title,
        workshop=workshop,
        date=workshop.moment(info.get("started_at"))[:10],
        facts=[(name, str(text)) for name, text in pairs if text not in (None, "")],
        outcomes=[outcome_of("", run, profile, findings, verdict)],
        done="",
        pictures=[own_ids(picture, "front") for picture in front(pictures)],
        cautions=cautions(profile),
        simulated=content.is_simulated(run),
        technician=workshop.technician,
    )


def front(pictures: Sequence[Picture]) -> list[Picture]:
    """Return the most telling picture, and what is shown where there is room: two half ones, or a wide."""
    halves = [picture for picture in pictures[1:] if not picture.wide]
    wide = [picture for picture in pictures[1:] if picture.wide]
    return [*pictures[:1], *(halves[:2] if len(halves) > 1 else wide[:1])]


def outcome_of(
    when: str, run: RunData, profile: Profile, findings: list[Finding], verdict: Verdict
) -> Outcome:
    """Return what a customer is shown of one judged run."""
    causes = content.troubles(findings)
    sentences: list[str] = []
    if verdict is Verdict.PASS:
        sentences.append("Every finding that has limits is within them.")
    elif not causes or verdict is Verdict.INCONCLUSIVE:
        reasons = content.open_points(findings)
        sentences += [f"{reason}." for reason, _titles in reasons[:MOST_REASONS]]
    if len(causes) > MOST_CAUSES:
        more = len(causes) - MOST_CAUSES
        sentences.append(f"{more} more are in the technical annex.")
    if run.info.get("golden_warns"):
        sentences.append("The bench itself is due for a check. See the technical annex.")
    return Outcome(when, verdict.value, caveat(profile) or "", causes[:MOST_CAUSES], sentences)


def cautions(profile: Profile) -> list[str]:
    """Return what the page says beneath it all: of handling the part, of what was not measured, and whose
    word goes before it."""
    return [*profile.part.every_caution, *content.always_open(profile), DISCLAIMER]

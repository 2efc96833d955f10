"""Was the part driven at all? What a bench that refused to arm says about part, leads and sensor.

Before power reaches a part the self-test sends a little current through it. An open or shorted circuit, or a
sensor that pulls its 5 V feed down, is known then. Whether part or leads are to blame only a person can say,
who looks at the leads: ``info["leads_checked"]`` says how that was answered. Until then nothing fails.
"""

from __future__ import annotations

from dataclasses import dataclass

from strokefw import faults

from strokebench.data.findings import YES_NO, Finding
from strokebench.data.run import RunData
from strokebench.diagnose.case import Case

CONNECTION = ("connection", "Circuit and leads whole", YES_NO)
OUTCOME = "refused"
"""How a run ends that the bench did not begin, for a cause in part or leads."""


@dataclass(frozen=True)
class Cause:
    """What a refusal means: ``open_`` while nobody has looked at the leads, ``sure`` afterwards.

    ``question`` for the person, answered with yes or no; ``defect`` that is named once the answer is yes.
    """

    open_: str
    sure: str
    question: str
    defect: str


OPEN = Cause(
    "open circuit or not connected: check the leads",
    "open circuit in the part: the leads were checked",
    "No current can flow. Look at the leads: are both on the part's pins, and whole?",
    "open_winding",
)
SHORTED = Cause(
    "short circuit in the part or its leads: check the leads",
    "short circuit in the part: the leads were checked",
    "The circuit is shorted. Look at the leads: are they on the right pins, and do they touch nowhere?",
    "shorted_part",
)
FEED = Cause(
    "the sensor's 5 V feed is out of range: unplug the sensor and try again",
    "the 5 V feed is out of range with this sensor only",
    "The sensor's 5 V feed is out of range. Unplug the sensor: is the feed good then (watch shows it)?",
    "feed_shorted",
)
CAUSES = {faults.OPEN_LOAD: OPEN, faults.SHORTED_LOAD: SHORTED, faults.REFERENCE: FEED}
"""Fault codes with which the bench refuses a part; all others are causes in the bench, or of its supply."""


def cause_of(code: int, *, sensor: bool) -> Cause | None:
    """Return what refusal ``code`` says of a part with or without ``sensor``; None when it is the bench."""
    if code == faults.REFERENCE and not sensor:
        return None
    return CAUSES.get(code)


def refused(run: RunData) -> Cause | None:
    """Return why the bench would not drive this part, None for a run that began."""
    if run.info.get("outcome") != OUTCOME:
        return None
    code = run.info.get("fault")
    return CAUSES.get(code) if isinstance(code, int) else None


WRONG_WAY = "the part moves the wrong way"


def why_unfit(case: Case) -> str:
    """Return why nothing else can be told of the part, empty when it is connected as it should be."""
    if refused(case.run) is not None:
        return "the bench did not drive the part"
    return WRONG_WAY if case.wrong_way else ""


def said_of(case: Case) -> list[Finding]:
    """Return what a refusal or the wrong direction says of the part: unknown until the leads were checked,
    then "no". Nothing of a part that was driven and followed.
    """
    cause = refused(case.run)
    if cause is None and case.wrong_way:
        cause = Cause(case.wrong_way, f"{WRONG_WAY}, and the leads were checked", "", "wrong_way")
    if cause is None:
        return []
    defect = "open_wire" if cause.defect == "open_winding" and case.profile.kind == "wiring" else cause.defect
    finding = Finding(*CONNECTION[:2], 0.0, 0.0, YES_NO, lower=1.0, fault=defect, reason=cause.sure)
    checked = case.run.info.get("leads_checked")
    return [finding if checked else finding.without_value(cause.open_).with_(fault="")]

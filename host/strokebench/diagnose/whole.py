"""A run that ended before its time: only what came before the stretch that was cut may be judged.

A stop button, a lost supply or a protection ends a run at any moment. What the part did in the stretch that
was cut says nothing of the part, and neither does what never came. Two ends are different. A procedure that
ends itself by a watch asked a question of the part, and the end is the answer. Protection against too much
current (codes 31 to 39), or against a supply that sags under it, answers to the part: what led to it counts,
up to that moment.
"""

from __future__ import annotations

from dataclasses import replace

from strokefw import faults

from strokebench.data.run import Mark, RunData
from strokebench.diagnose.case import JOIN_S

CUT_SHORT = ("stopped", "interrupted", "fault", "cut", "silent", "running")
"""Outcomes of a run that did not come to its planned end."""
CURRENT = 3
"""Tens of the fault codes that are about the current."""
SAGGED = (faults.SUPPLY_LOW, faults.SUPPLY_SAG)
LAST_S = 0.01
"""Rows that go with a fault: the one that raised it, and the filter's."""


def ended_early(run: RunData) -> bool:
    """Return True for a run that somebody or something ended before its procedure was through."""
    return run.info.get("outcome") in CUT_SHORT or any(event.kind == "fault" for event in run.events)


def cut_s(run: RunData) -> float | None:
    """Return until when a run may be judged, seconds; None for one that came to its end."""
    if not ended_early(run) or not run.marks:
        return None
    said = [event for event in run.events if event.kind == "fault"]
    if said and (said[0].code // 10 == CURRENT or said[0].code in SAGGED):
        return said[0].time_s + LAST_S
    begun = [mark for mark in run.marks if not said or mark.start_s <= said[0].time_s] or run.marks[:1]
    return _stretch(begun)


def _stretch(marks: list[Mark]) -> float:
    """Start of the last stretch: what follows a ramp directly under the same label belongs to it."""
    start = len(marks) - 1
    while start and _together(marks[start - 1], marks[start]):
        start -= 1
    return marks[start].start_s


def _together(before: Mark, after: Mark) -> bool:
    return before.label == after.label and before.kind == "ramp" and after.start_s - before.end_s < JOIN_S


def whole_part(run: RunData) -> RunData:
    """Return the run without what may not be judged after an early end; all of any other run."""
    until_s = cut_s(run)
    if until_s is None:
        return run
    return replace(
        run,
        samples=run.between(-1.0, until_s),
        marks=[mark for mark in run.marks if mark.start_s < until_s],
        bursts=[burst for burst in run.bursts if burst.start_s < until_s],
    )

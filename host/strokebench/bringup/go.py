"""Go through the steps: show, do, measure, compare, keep, and stop where something differs."""

from __future__ import annotations

import datetime
import textwrap
from collections.abc import Callable, Sequence

from strokebench.bringup.hands import Skip
from strokebench.bringup.measures import Test, measure
from strokebench.bringup.record import DIFFERS, LEFT_OUT, OK, Outcome, Record
from strokebench.bringup.steps import Range, Step
from strokebench.calibrate.points import checked
from strokebench.errors import LinkLost, StrokebenchError
from strokebench.terminal.lines import columns

Say = Callable[[str], object]
WIDEST = 100
"""Characters in a line at most: beyond it a line is hard to follow."""


def go(test: Test, record: Record, steps: Sequence[Step], board: str, say: Say, again: bool = False) -> bool:
    """Do the steps that are not well yet; return False at the first that differs.

    Raises :class:`strokebench.bringup.hands.Quit` when the person goes, :class:`LinkLost` when the bench
    does.
    """
    checked(test.bench)
    here = [step.as_on(board) for step in steps if step.expected(board) is not None]
    for number, step in enumerate(here, 1):
        expected = step.expected(board)
        assert expected is not None
        if record.passed(step.id) and not again and not step.before and not step.after:
            say(f"{number:2}. {step.title}: was well ({_shown(record.steps[step.id])})")
            continue
        say(f"\n{number:2}. {step.title}")
        if step.caution:
            say(_wrapped(f"CAUTION: {step.caution}"))
        say(_wrapped(step.do))
        outcome = _one(test, step, expected)
        record.put(step.id, outcome)
        say(_wrapped(_told(outcome, expected)))
        if outcome.status == DIFFERS:
            say(_wrapped(f"What to look for: {step.hint(outcome.value, expected.bounds)}"))
            return False
    return True


def _wrapped(text: str) -> str:
    return textwrap.fill(
        text, columns(WIDEST), initial_indent="    ", subsequent_indent="    ", break_on_hyphens=False
    )


def _one(test: Test, step: Step, expected: Range) -> Outcome:
    """Do one step."""
    test.notes.clear()
    value, note = None, ""
    try:
        value = _value(test, step)
        status = _judged(value, expected)
    except Skip:
        status, note = LEFT_OUT, "left out by the person"
    except LinkLost:
        raise
    except StrokebenchError as error:
        status, note = DIFFERS, f"{error} {error.hint}".strip()
    if status == LEFT_OUT and not note:
        note = "only real hands and copper can do this"
    if status == OK and step.reads == "bench":
        test.hands.clean_up(step)
    low, high = expected.bounds
    when = datetime.datetime.now().isoformat(timespec="seconds")
    return Outcome(
        status, value, low, high, step.unit, when, "; ".join([*test.notes, note] if note else test.notes)
    )


def _value(test: Test, step: Step) -> float | None:
    if step.reads != "bench":
        return test.hands.by_hand(step)
    test.hands.prepare(step)
    if step.meter:
        test.metered = test.hands.meter(step)
    return measure(test, step.what)


def _judged(value: float | None, expected: Range) -> str:
    if value is None:
        return LEFT_OUT
    low, high = expected.bounds
    good = (low is None or value >= low) and (high is None or value <= high)
    return OK if good else DIFFERS


def _number(value: float) -> str:
    return f"{value:.0f}" if value == int(value) else f"{value:.4g}"


def _shown(outcome: Outcome) -> str:
    return "-" if outcome.value is None else f"{_number(outcome.value)} {outcome.unit}".strip()


def _told(outcome: Outcome, expected: Range) -> str:
    word = {OK: "ok", DIFFERS: "DIFFERS", LEFT_OUT: "left out"}[outcome.status]
    note = f" ({outcome.note})" if outcome.note else ""
    if outcome.status == LEFT_OUT:
        return f"{word}{note}; expected {expected.text} {outcome.unit}".rstrip()
    return f"{word}: {_shown(outcome)}, expected {expected.text} {outcome.unit}".rstrip() + note

"""Who answers a guided procedure: somebody at the terminal, or a file of answers for the simulation."""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Protocol

from strokebench.errors import DataError, UsageError
from strokebench.parts.guide import Guide, Step

LEAVE = ("q", "\x1b", "\x03")
GONE = "?"
"""What ``Person.answer`` returns when the person wants to leave."""
CONFIRM = "Type yes when this is so: "
Say = Callable[[str], None]


class Person(Protocol):
    """``waits``: a person takes real time, which a simulated bench has to keep pace with."""

    waits: bool

    def confirm(self, caution: str) -> bool:
        """Acknowledge one caution."""

    def forget(self) -> None:
        """Drop keys pressed before the question was shown."""

    def answer(self, step: Step, waited_s: float) -> str:
        """Return the key of the answer once there is one, "" until then, GONE to leave."""


class TerminalPerson:
    """Somebody who presses a key. ``pressed`` returns the keys pressed since, as ``terminal_keys.keys``."""

    waits = True

    def __init__(self, pressed: Callable[[], str], ask: Callable[[str], str], say: Say) -> None:
        self._pressed, self._ask, self._say = pressed, ask, say
        self._left = False

    def confirm(self, caution: str) -> bool:
        """Show the caution and wait for a typed yes."""
        self._say(f"CAUTION: {caution}")
        try:
            return self._ask(CONFIRM).strip().lower() == "yes"
        except EOFError:
            return False

    def forget(self) -> None:
        """Drop keys pressed before the question was shown, but not the wish to leave."""
        self._left = self._left or any(key in LEAVE for key in self._pressed().lower())

    def answer(self, step: Step, waited_s: float) -> str:
        """Take the first key that is an answer; others are passed over."""
        if self._left:
            return GONE
        for key in self._pressed().lower():
            if key in LEAVE:
                return GONE
            if key.isdigit() and 1 <= int(key) <= len(step.choices):
                return step.choices[int(key) - 1].key
        return ""


class AnswerFile:
    """Answers written down beforehand, for scripts on the simulated bench; a missing one is never given."""

    waits = False
    THINKS_S = 1.5

    def __init__(self, answers: Mapping[str, str]) -> None:
        self._answers = answers

    def confirm(self, caution: str) -> bool:
        """Take it as read: nobody is in danger at a simulated engine."""
        return True

    def forget(self) -> None:
        """Nothing is ever typed too early here."""

    def answer(self, step: Step, waited_s: float) -> str:
        """Return the answer after a moment."""
        return self._answers.get(step.id, "") if waited_s >= self.THINKS_S else ""


def read_answers(path: str | Path, guide: Guide) -> dict[str, str]:
    """Return a TOML file's lines ``step = "answer"``; :class:`DataError` for steps and answers not known."""
    from strokebench.parts.toml import parse, read_text

    table = parse(read_text(Path(path)), str(path))
    offered = {step.id: [choice.key for choice in step.choices] for step in guide.steps}
    for name, value in table.items():
        if name not in offered:
            raise DataError(f"{path}: {guide.name} has no step {name!r}.", f"Steps: {', '.join(offered)}.")
        if value not in offered[name]:
            known = ", ".join(offered[name])
            raise DataError(f"{path}: {name} = {value!r} is no answer.", f"Answers: {known}.")
    return table


def need_terminal() -> None:
    """Raise :class:`UsageError` when nobody can answer."""
    if not sys.stdin.isatty():
        raise UsageError(
            "A guided procedure needs somebody at a terminal.",
            "Start it in one; for scripts on the simulated bench: --sim --answers FILE.toml.",
        )

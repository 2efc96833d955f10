"""What pages may know: one object that the bench's thread writes and everybody else reads."""

from __future__ import annotations

import threading
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from strokebench.data.findings import Finding
from strokebench.errors import StrokebenchError
from strokebench.panel.wiring import NOTHING, Wiring

MOVING = ("arming", "armed", "jog", "run", "gentle")
"""Phases in which the supply is on the part or about to be: the driving page must be alive."""


@dataclass(frozen=True)
class Message:
    """Something said to the people: a sentence, what to do, and whether it is an error. Numbered."""

    number: int = 0
    text: str = ""
    hint: str = ""
    error: bool = False


@dataclass(frozen=True)
class Progress:
    """How far a run is: seconds done and planned, the present segment, its number in the book."""

    label: str = ""
    done_s: float = 0.0
    total_s: float = 0.0
    run_id: int = 0


@dataclass(frozen=True)
class Snapshot:
    """Everything slow. ``phase``: none, connecting, idle, arming, armed, jog, run, judging,
    gentle (the move that shows the wiring).

    ``fault`` is the code of the last fault until it is cleared, ``latched`` whether the bench holds it.
    ``budget_left``: 0..1 by name. ``findings_version`` grows when ``findings`` change; ``verdict`` is empty
    until the run is judged.
    """

    phase: str = "none"
    bench: str = ""
    part: str = ""
    title: str = ""
    simulated: bool = False
    state: str = ""
    fault: int = 0
    latched: bool = False
    warning: int = 0
    junction_c: float = float("nan")
    drive_cap: float = 1.0
    budget_left: tuple[tuple[str, float], ...] = ()
    lost_rows: int = 0
    progress: Progress = Progress()
    message: Message = Message()
    findings: tuple[Finding, ...] = ()
    findings_version: int = 0
    verdict: str = ""
    judged_run: int = 0
    wiring: Wiring = NOTHING

    @property
    def moving(self) -> bool:
        """The supply is on the part or about to be."""
        return self.phase in MOVING


class View:
    """Holds the newest :class:`Snapshot`."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._now = Snapshot()

    @property
    def now(self) -> Snapshot:
        """The newest snapshot."""
        return self._now

    def set(self, **changes: Any) -> None:
        """Change some of it."""
        with self._lock:
            self._now = replace(self._now, **changes)

    def say(self, text: str, hint: str = "", *, error: bool = False) -> None:
        """Tell the people something."""
        self.set(message=Message(self._now.message.number + 1, text, hint, error))

    def hush(self) -> None:
        """Take an error's words away: what they were about is over."""
        if self._now.message.error:
            self.say("")

    def complain(self, error: StrokebenchError) -> None:
        """Tell the people an error's sentence and what to do."""
        self.say(str(error), error.hint, error=True)

    def found(self, findings: Sequence[Finding], verdict: str = "", run_id: int = 0) -> None:
        """Show findings; with a verdict they are final and belong to ``run_id``."""
        self.set(
            findings=tuple(findings),
            findings_version=self._now.findings_version + 1,
            verdict=verdict,
            judged_run=run_id,
        )

"""The current that a part takes while somebody has it switched on."""

from __future__ import annotations

from strokebench.data.findings import Finding
from strokebench.diagnose.case import Case
from strokebench.diagnose.question import Question
from strokebench.diagnose.switched.case import running
from strokebench.diagnose.winding import CONTINUITY

HELD_TITLE = "Current while switched on"

QUESTION = Question(needs="current", group="Supply and winding", keys=(CONTINUITY,))


def find(case: Case) -> list[Finding]:
    """Return the current of the steady stretch."""
    return [running(case, CONTINUITY, HELD_TITLE)]

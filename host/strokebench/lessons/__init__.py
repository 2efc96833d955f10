"""Eight lessons on the simulated bench: a text, an experiment that runs, and numbers that tests check.

``texts/lesson-N.md`` is the one place a lesson is written; the command shows it, docs/lessons is made of it.
Each module ``lessonN_*`` has ``run() -> Outcome``. Protections are removed in plants and boards of this
package only, never by a message to the firmware, so that no lesson can be repeated on a real part without
its protection.
"""

from __future__ import annotations

from importlib import import_module

from strokebench.errors import UsageError
from strokebench.lessons.outcome import Outcome

MODULES = (
    "lesson1_duty", "lesson2_freewheel", "lesson3_deadtime", "lesson4_softstart",
    "lesson5_limits", "lesson6_heat", "lesson7_supply", "lesson8_findings",
)  # fmt: skip
COUNT = len(MODULES)


def check_number(number: int) -> int:
    """Return ``number``; UsageError when there is no such lesson."""
    if not 1 <= number <= COUNT:
        raise UsageError(f"There is no lesson {number}.", f"Lessons are numbered 1 to {COUNT}.")
    return number


def run(number: int) -> Outcome:
    """Do the experiment of a lesson; takes from a second up to about a minute (lesson 8)."""
    module = import_module(f"strokebench.lessons.{MODULES[check_number(number) - 1]}")
    outcome: Outcome = module.run()
    return outcome


def numbers(number: int) -> dict[str, float]:
    """Do the experiment of a lesson and return what came out, by key."""
    return run(number).values

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
ON_A_BENCH = (1, 4, 5, 6, 7)
"""Their firmware may run on a bare Pico: 2 and 3 need none, 8 strokes ten parts at once."""


def check_number(number: int) -> int:
    """Return ``number``; UsageError when there is no such lesson."""
    if not 1 <= number <= COUNT:
        raise UsageError(f"There is no lesson {number}.", f"Lessons are numbered 1 to {COUNT}.")
    return number


def run(number: int, pico: str | None = None) -> Outcome:
    """Do the experiment of a lesson; takes from a second up to about a minute (lesson 8).

    ``pico``: port of a bare Pico that shall run the firmware, for the lessons in ``ON_A_BENCH``.
    """
    module = import_module(f"strokebench.lessons.{MODULES[check_number(number) - 1]}")
    if pico is not None:
        from strokebench.lessons.gear import on_pico

        if number not in ON_A_BENCH:
            raise UsageError(
                f"Lesson {number} needs no Pico.",
                f"Leave --plant out; lessons {', '.join(map(str, ON_A_BENCH))} run on one.",
            )
        with on_pico(pico):
            on_it: Outcome = module.run()
        return on_it
    outcome: Outcome = module.run()
    return outcome


def numbers(number: int) -> dict[str, float]:
    """Do the experiment of a lesson and return what came out, by key."""
    return run(number).values

"""What a person's answers and the measurement say together, by the rules of the guided procedure.

A rule's measured condition holds only when it does so by two standard uncertainties; where no rule holds
nothing is judged.
"""

from __future__ import annotations

from typing import Any

from strokebench.data.findings import COVERAGE, Finding
from strokebench.diagnose.person.case import GuidedCase
from strokebench.diagnose.question import Question
from strokebench.diagnose.stats import Measured

GIVEN = ("answers_given", "All questions answered", "yes/no")
UNITS = {
    "position_percent": "% of travel", "moved_percent": "% of travel", "current_a": "A", "push_percent": "%"
}  # fmt: skip

QUESTION = Question(needs="", group="What the engine did", keys=(GIVEN[0],), of_guide=True)


def find(case: GuidedCase) -> list[Finding]:
    """Return whether all was answered, the guide's readings, and its conclusions."""
    if case.guide is None:
        return [case.missing(*GIVEN, "the profile holds no guided procedure", evidence={"gate": True})]
    readings = [_reading(case, reading) for reading in case.guide.readings]
    return [
        _given(case),
        *readings,
        *(_conclusion(case, conclusion) for conclusion in case.guide.conclusions),
    ]


def _given(case: GuidedCase) -> Finding:
    outcome = str(case.run.info.get("outcome", ""))
    if outcome == "done":
        return case.finding(*GIVEN[:2], Measured(1.0, 0.0), GIVEN[2])
    unanswered = [mark.label for mark in case.run.marks if mark.label not in case.answers]
    steps = {step.id: step.question for step in case.guide.steps}
    last = unanswered[-1] if unanswered else ""
    question = f"; open is: {steps[last]}" if last in steps else ""
    return case.missing(*GIVEN, f"the test ended early ({outcome}){question}", evidence={"gate": True})


def _reading(case: GuidedCase, reading: Any) -> Finding:
    found = case.highest(reading.what, reading.steps)
    about = (reading.key, reading.title)
    if found is None:
        return case.missing(*about, UNITS[reading.what], "no answer was given while this could be read")
    return case.finding(
        *about, found, UNITS[reading.what], low=reading.low, high=reading.high,
        span_s=_span(case, reading.steps), evidence={"source": reading.source},
    )  # fmt: skip


def _conclusion(case: GuidedCase, conclusion: Any) -> Finding:
    answers = [case.answers[step] for step in conclusion.steps if step in case.answers]
    evidence = {"source": conclusion.source, "answers": answers}
    about: dict[str, Any] = {"span_s": _span(case, conclusion.steps), "evidence": evidence}
    rule = next((rule for rule in conclusion.rules if holds(case, rule)), None)
    if rule is None or rule.verdict == "inconclusive":
        why = conclusion.otherwise if answers else "none of its questions was answered"
        return case.missing(
            conclusion.key, conclusion.title, GIVEN[2], why if rule is None else rule.says, **about
        )
    value = Measured(1.0 if rule.verdict == "pass" else 0.0, 0.0)
    return case.finding(
        conclusion.key, conclusion.title, value, GIVEN[2], low=rule.defect, reason=rule.says, **about
    )


def holds(case: GuidedCase, rule: Any) -> bool:
    """Tell whether all conditions of a rule hold."""
    given = {step: answer["answer"] for step, answer in case.answers.items()}
    if rule.any_of and not any(given.get(step) in keys for step, keys in rule.any_of.items()):
        return False
    if rule.all_of:
        answered = [step for step in rule.all_of if step in given]
        if not answered or not all(given[step] in rule.all_of[step] for step in answered):
            return False
    return all(_measured_holds(case, condition) for condition in rule.measured)


def _measured_holds(case: GuidedCase, condition: Any) -> bool:
    found = case.highest(condition.what, condition.steps)
    if found is None:
        return False
    above = condition.above is None or found.value - COVERAGE * found.u > condition.above
    return above and (condition.below is None or found.value + COVERAGE * found.u < condition.below)


def _span(case: GuidedCase, steps: list[str]) -> tuple[float, float] | None:
    """Stretch of the recording in which the steps ran, as far as they were answered."""
    marks = [mark for mark in case.run.marks if mark.label in steps and mark.label in case.answers]
    if not marks:
        return None
    return marks[0].start_s, float(case.answers[marks[-1].label]["time_s"])

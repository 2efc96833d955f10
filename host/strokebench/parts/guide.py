"""The pydantic models of a guided procedure (``guided/NAME.toml``): what the bench does, what it asks, what
the answers mean together with what was measured."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, Field, model_validator

from strokebench.parts.limits import STRICT, Drive
from strokebench.parts.toml import Within

Key = Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]*$")]
Percent = Annotated[float, Within(1, 100, "% of travel")]
Answers = dict[Key, list[Key]]
END = "end"
STALL_SHARE = 0.8
"""Opening stops at this share of the current at which the bench would take the part for stalled."""
What = Literal["position_percent", "moved_percent", "current_a", "push_percent"]


class Choice(BaseModel):
    """One answer that can be given; ``goto`` names the step that then comes next, or ``end``."""

    model_config = STRICT

    key: Key
    text: str
    goto: str = ""


class Step(BaseModel):
    """The bench goes where ``open_to`` or ``drive`` says (nowhere: shut, no drive) and asks the question.

    ``answer_s``: how long a person may take; after that the part is shut and the test ends.
    """

    model_config = STRICT

    id: Key
    say: str
    """What happens and what to watch, before the bench moves."""
    open_to: Percent | None = None
    """Raise the drive slowly until the part stands this far open, then keep that drive."""
    drive: Drive = 0.0
    """For parts without a position sensor: the drive to go to."""
    rate_per_s: Annotated[float, Within(0.01, 5, "1/s")] = 0.1
    settle_s: Annotated[float, Within(0, 30, "s")] = 1.0
    question: str
    answer_s: Annotated[float, Within(1, 300, "s")] = 20.0
    choices: Annotated[list[Choice], Field(min_length=2, max_length=9)]


class Measure(BaseModel):
    """A condition on what was measured at the moment of the answer: the highest over ``steps``.

    ``moved_percent`` counts from the position at the first step. ``push_percent`` is how hard the part was
    driven, in % of what the test may: drive or current, whichever is nearer to its limit.
    """

    model_config = STRICT

    what: What
    steps: Annotated[list[Key], Field(min_length=1)]
    above: float | None = None
    below: float | None = None


class Rule(BaseModel):
    """What follows when all conditions hold; ``any_of``: one of these answers was given; ``all_of``: every
    answered step among these gave one of its answers, and at least one was answered."""

    model_config = STRICT

    any_of: Answers = {}
    all_of: Answers = {}
    measured: list[Measure] = []
    verdict: Literal["pass", "fail", "inconclusive"]
    defect: Key | Literal[""] = ""
    says: str


class Conclusion(BaseModel):
    """A finding from answers: the first rule that holds decides; none: inconclusive, for ``otherwise``."""

    model_config = STRICT

    key: Key
    title: str
    source: str
    steps: Annotated[list[Key], Field(min_length=1)]
    """The steps whose answers are its evidence."""
    rules: Annotated[list[Rule], Field(min_length=1)]
    otherwise: str


class Reading(BaseModel):
    """A finding measured at the moment of an answer: the highest of ``what`` over ``steps``."""

    model_config = STRICT

    key: Key
    title: str
    source: str
    what: What
    steps: Annotated[list[Key], Field(min_length=1)]
    lower: float | None = None
    upper: float | None = None
    low: Key | Literal[""] = ""
    """Defect that a value below the limit means."""
    high: Key | Literal[""] = ""

    @property
    def judged(self) -> bool:
        """False: without limits it is there for information."""
        return self.lower is not None or self.upper is not None


class Guide(BaseModel):
    """A whole guided procedure."""

    model_config = STRICT

    name: Annotated[str, Field(pattern=r"^[a-z0-9][a-z0-9-]*$")]
    title: str
    part: str
    """Part taken when none is named."""
    kinds: Annotated[list[Key], Field(min_length=1)]
    """Kinds of part that it is for."""
    connect: list[str] = []
    cautions: Annotated[list[str], Field(min_length=1)]
    """Each is acknowledged by itself before anything is switched on."""
    steps: Annotated[list[Step], Field(min_length=1)]
    readings: list[Reading] = []
    conclusions: Annotated[list[Conclusion], Field(min_length=1)]

    @model_validator(mode="after")
    def _consistent(self) -> Guide:
        order = {step.id: number for number, step in enumerate(self.steps)}
        if len(order) != len(self.steps):
            raise ValueError("two steps have the same id")
        known = {step.id: {choice.key for choice in step.choices} for step in self.steps}
        for step in self.steps:
            for choice in step.choices:
                if choice.goto not in ("", END) and order.get(choice.goto, -1) <= order[step.id]:
                    raise ValueError(f"goto = {choice.goto!r} in step {step.id!r} is no later step")
        for where, answers in _answers(self.conclusions):
            for step_id, keys in answers.items():
                if step_id not in known or not set(keys) <= known[step_id]:
                    raise ValueError(f"{where} asks for an answer that step {step_id!r} does not offer")
        for where, steps in _steps(self):
            if not set(steps) <= set(known):
                raise ValueError(f"{where} names a step that is not there")
        return self


def _answers(conclusions: list[Conclusion]) -> list[tuple[str, Answers]]:
    rules = [(conclusion.key, rule) for conclusion in conclusions for rule in conclusion.rules]
    return [(key, table) for key, rule in rules for table in (rule.any_of, rule.all_of)]


def _steps(guide: Guide) -> list[tuple[str, list[str]]]:
    out = [(reading.key, reading.steps) for reading in guide.readings]
    for conclusion in guide.conclusions:
        out.append((conclusion.key, conclusion.steps))
        out += [(conclusion.key, measure.steps) for rule in conclusion.rules for measure in rule.measured]
    return out

"""The steps from steps.toml, checked."""

from __future__ import annotations

from functools import cache
from importlib import resources
from typing import Literal

from pydantic import BaseModel

from strokebench.parts.limits import STRICT
from strokebench.parts.toml import parse, validate

BOARD_KEYS = {
    "reference bench": "reference", "small bench": "small", "simulated bench": "simulated",
    "beginner bench": "beginner",
}  # fmt: skip
Column = Literal["all", "reference", "small", "simulated", "beginner"]

Side = Literal["low", "high", "any", "missing"]


class Range(BaseModel):
    """What to expect: ``value`` and ``tolerance``, or ``low`` and ``high``; one of these may be missing."""

    model_config = STRICT

    value: float | None = None
    tolerance: float = 0.0
    low: float | None = None
    high: float | None = None

    @property
    def bounds(self) -> tuple[float | None, float | None]:
        """Lowest and highest good value, None for no bound."""
        if self.value is not None:
            return self.value - self.tolerance, self.value + self.tolerance
        return self.low, self.high

    @property
    def text(self) -> str:
        """The range in words."""
        if self.value is not None:
            return f"{self.value:g} ± {self.tolerance:g}"
        if self.low is not None and self.high is not None:
            return f"{self.low:g}" if self.low == self.high else f"{self.low:g} to {self.high:g}"
        return f"at least {self.low:g}" if self.low is not None else f"at most {self.high:g}"


class Texts(BaseModel):
    """What a step says, as far as it is another text on a kind of board."""

    model_config = STRICT

    do: str = ""
    caution: str = ""
    source: str = ""
    differs: dict[Side, str] = {}


class Step(BaseModel):
    """One step; see the head of steps.toml."""

    model_config = STRICT

    id: str
    title: str
    do: str
    caution: str = ""
    reads: Literal["bench", "hand", "answer"]
    meter: Literal["", "vin", "bus", "load"] = ""
    """What a person has to read as well, for the bench's reading to be compared with."""
    unit: str
    what: str = ""
    before: Literal["", "press", "release", "load", "press_driving", "sensor_low", "sensor_high"] = ""
    after: Literal["", "release", "unload", "sensor_free"] = ""
    only: Literal["", "beginner"] = ""
    """A kind of board that alone has this step."""
    skip: list[Literal["beginner"]] = []
    """Kinds of board that do not have this step."""
    on: dict[Literal["beginner"], Texts] = {}
    """What a step says on a kind of board, where that is something else."""
    expect: dict[Column, Range]
    differs: dict[Side, str]
    source: str

    def expected(self, board: str) -> Range | None:
        """Return what to expect on a kind of board (a key of ``BOARD_KEYS``'s values), None if not there."""
        if board in self.skip or self.only not in ("", board):
            return None
        return self.expect.get(board, self.expect.get("all"))  # type: ignore[call-overload, no-any-return]

    def as_on(self, board: str) -> Step:
        """Return the step with the texts that it has on a kind of board."""
        own = self.on.get(board)  # type: ignore[call-overload]
        return self if own is None else self.model_copy(update=own.model_dump(exclude_unset=True))

    def hint(self, value: float | None, bounds: tuple[float | None, float | None]) -> str:
        """Return what to look for when ``value`` (None: there is none) is outside ``bounds``."""
        if value is None:
            return self.differs.get("missing") or self.differs.get("any") or " ".join(self.differs.values())
        side: Side = "low" if bounds[0] is not None and value < bounds[0] else "high"
        return self.differs.get(side, self.differs.get("any", ""))


class Steps(BaseModel):
    """The whole file."""

    model_config = STRICT

    step: list[Step]


@cache
def load_steps() -> tuple[Step, ...]:
    """Return all steps in order."""
    text = (resources.files(__package__) / "steps.toml").read_text(encoding="utf-8")
    return tuple(validate(Steps, parse(text, "steps.toml"), text, "steps.toml").step)


def board_key(board: str, engine: str) -> str:
    """Return which column of the expectations holds: a reference bench that is simulated has its own."""
    key = BOARD_KEYS.get(board, "reference")
    return "simulated" if key == "reference" and engine != "serial" else key

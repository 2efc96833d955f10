"""The steps from steps.toml, checked."""

from __future__ import annotations

from functools import cache
from importlib import resources
from typing import Literal

from pydantic import BaseModel

from strokebench.parts.limits import STRICT
from strokebench.parts.toml import parse, validate

BOARD_KEYS = {"reference bench": "reference", "small bench": "small", "simulated bench": "simulated"}


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


class Step(BaseModel):
    """One step; see the head of steps.toml."""

    model_config = STRICT

    id: str
    title: str
    do: str
    caution: str = ""
    reads: Literal["bench", "hand", "answer"]
    meter: Literal["", "vin", "load"] = ""
    """What a person has to read as well, for the bench's reading to be compared with."""
    unit: str
    what: str = ""
    before: Literal["", "press", "release", "load", "press_driving"] = ""
    after: Literal["", "release", "unload"] = ""
    expect: dict[Literal["all", "reference", "small", "simulated"], Range]
    differs: dict[Literal["low", "high", "any", "missing"], str]
    source: str

    def expected(self, board: str) -> Range | None:
        """Return what to expect on a kind of board ("reference", "small", "simulated"), None if not there."""
        return self.expect.get(board, self.expect.get("all"))  # type: ignore[call-overload, no-any-return]

    def hint(self, value: float | None, bounds: tuple[float | None, float | None]) -> str:
        """Return what to look for when ``value`` (None: there is none) is outside ``bounds``."""
        if value is None:
            return self.differs.get("missing") or self.differs.get("any") or " ".join(self.differs.values())
        side: Literal["low", "high"] = "low" if bounds[0] is not None and value < bounds[0] else "high"
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
    """Return which column of the expectations holds: a bench in a simulation of any kind is simulated."""
    return BOARD_KEYS.get(board, "reference") if engine == "serial" else "simulated"

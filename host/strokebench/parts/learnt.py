"""What a profile keeps of the good parts that its limits were learnt from."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, Field

from strokebench.parts.limits import STRICT


class LimitSums(BaseModel):
    """What good parts taught about one finding; enough to learn on, and to merge with another shop's.

    ``mean``, ``squares`` (sum of squared deviations from it) and ``u2`` (mean squared standard uncertainty)
    are on a scale: "log" is ln x, "zero" is ln(1 + x / ``unit``) with negative x as 0, "plain" is x itself.
    """

    model_config = STRICT

    parts: Annotated[int, Field(ge=1)]
    mean: float
    squares: Annotated[float, Field(ge=0)]
    u2: Annotated[float, Field(ge=0)]
    bench2: Annotated[float, Field(ge=0)] = 0.0
    """Variance that a single bench adds beyond ``u2``; known of a fleet only."""
    scale: Literal["log", "plain", "zero"]
    unit: Annotated[float, Field(gt=0)] = 1.0
    title: str = ""
    """Of the finding, for people."""
    in_unit: str = ""
    """Unit of the finding."""


class GoodPart(BaseModel):
    """A part that somebody declared good: its serial number, and where and when it was measured."""

    model_config = STRICT

    serial: str
    runs: list[str]
    """Runs or files, such as "run 3 of shop.book"."""
    measured: str = ""
    """Date of the first of them, ISO 8601; empty where a file does not say."""
    bench: str = ""
    """Identity of the bench; empty for a file from elsewhere."""
    calibration: str = ""
    """Identity of the bench's calibration then."""


class Fleet(BaseModel):
    """How many benches, parts and runs the limits of a fleet come from, and of which workshops."""

    model_config = STRICT

    benches: Annotated[int, Field(ge=1)]
    parts: Annotated[int, Field(ge=1)]
    runs: Annotated[int, Field(ge=1)]
    shops: list[str]
    """Pseudonyms."""


class Learnt(BaseModel):
    """What all learnt limits of a profile have in common."""

    model_config = STRICT

    supply_v: float
    part_c: float
    """Supply and temperature that limits are stated for; a verdict moves them to a run's own."""
    may_fail: Annotated[float, Field(gt=0, lt=1)]
    """Share of good parts that all learnt limits together may fail."""
    parts: list[GoodPart]
    fleet: Fleet | None = None
    """The fleet that limits were made from; then ``parts`` is empty, because there are too many."""

"""The pydantic models of a part profile (``parts/NAME.toml``)."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, Field, model_validator

from strokebench.parts.changes import Changes
from strokebench.parts.guide import Guide
from strokebench.parts.learnt import Learnt, LimitSums
from strokebench.parts.limits import STRICT, Limits
from strokebench.parts.procedure import Procedure
from strokebench.parts.toml import Within

NO_ALTERNATOR = (
    "Feed the bench from a battery whose alternator does not run: a load dump breaks the bench's input."
)
"""Of the bench, with whichever part; figures in docs/circuit-twin.md."""

SensorVolts = Annotated[float, Within(0, 5.5, "V")]


class Part(BaseModel):
    """What the part is. ``kind`` chooses plant and diagnosis."""

    model_config = STRICT

    name: Annotated[str, Field(pattern=r"^[a-z0-9][a-z0-9-]*$")]
    title: str
    kind: Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]*$")]
    simulate_as: str = ""
    """Name of the simulated part that stands for this one; empty: the part's own name."""
    connect: list[str] = []
    """How to wire it, one line each."""
    cautions: list[str] = []
    acknowledge: bool = False
    """The cautions must be acknowledged before anything is driven."""

    @property
    def every_caution(self) -> list[str]:
        """The part's own cautions, and what holds for the bench with each part."""
        return [*self.cautions, NO_ALTERNATOR]


class Track(BaseModel):
    """One track of the position sensor: nominal volts at both ends of travel, and what it may ever show."""

    model_config = STRICT

    closed_v: SensorVolts
    open_v: SensorVolts
    lowest_v: SensorVolts = 0.15
    highest_v: SensorVolts = 4.85

    @model_validator(mode="after")
    def _usable(self) -> Track:
        if abs(self.open_v - self.closed_v) < 0.1:
            raise ValueError("closed_v and open_v must be at least 0.1 V apart")
        return self


class FindingLimit(BaseModel):
    """Limits of one finding in its own unit; either may be left out."""

    model_config = STRICT

    lower: float | None = None
    upper: float | None = None
    required: bool = False
    """True: a run that does not pass this finding does not pass."""
    not_needed: str = ""
    """Why a run may pass although this finding stayed unknown; empty: it may not."""
    parts: Annotated[int, Field(ge=1)] | None = None
    """From how many good parts the limit was made; None where it does not come from parts."""
    note: str = ""
    """Where the limit comes from."""
    learnt: LimitSums | None = None
    """What good parts taught about it; None where it was not learnt."""

    @model_validator(mode="after")
    def _ordered(self) -> FindingLimit:
        if self.lower is not None and self.upper is not None and self.lower >= self.upper:
            raise ValueError(f"lower = {self.lower:g} must be below upper = {self.upper:g}")
        if self.required and self.not_needed:
            raise ValueError("required = true and not_needed contradict each other")
        return self


class Profile(BaseModel):
    """A part: identity, limits, sensors, numbers for its diagnosis, finding limits and its procedure."""

    model_config = STRICT

    part: Part
    limits: Limits
    tracks: dict[Literal["a", "b"], Track] = {}
    """The position sensor's tracks; empty for a part without one."""
    nominal: dict[str, float] = {}
    """Numbers its diagnosis needs (lead resistance, travel in degrees ...), unit in the name."""
    findings: dict[str, FindingLimit] = {}
    learnt: Learnt | None = None
    """The good parts that limits were learnt from; None where none were."""
    procedure: Procedure
    on: dict[str, Changes] = {}
    """What changes on a kind of bench, by the name in its identity; see :mod:`strokebench.parts.on_bench`."""
    guided: Guide | None = None
    """The guided procedure of a run in which a person answers; then ``procedure`` is not run."""

    @property
    def name(self) -> str:
        """The part's name, as on the command line."""
        return self.part.name

    @property
    def simulated(self) -> str:
        """Name of the simulated part to use with ``--sim``."""
        return self.part.simulate_as or self.part.name

    @property
    def kind(self) -> str:
        """The kind of part, which chooses plant and diagnosis."""
        return self.part.kind

    @property
    def required(self) -> frozenset[str]:
        """Keys of the findings without which a run is inconclusive."""
        return frozenset(key for key, limit in self.findings.items() if limit.required)

    def limit(self, key: str) -> FindingLimit:
        """Return the limits of finding ``key`` (none set when the profile does not name it)."""
        return self.findings.get(key, FindingLimit())

"""Which questions are asked of which kind of part, in which order.

Importing this loads every finder; whoever needs it imports it within a function, so that a command that
diagnoses nothing starts without it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from strokebench.diagnose import charger, evidence, supply, winding
from strokebench.diagnose.case import Case
from strokebench.diagnose.coil import duty_curve, inductor, pull, pull_time
from strokebench.diagnose.coil.case import CoilCase
from strokebench.diagnose.coil.solenoid_valve import SolenoidValveCase
from strokebench.diagnose.moving import (
    binding,
    breakaway,
    friction,
    motor,
    response,
    rest,
    ripple,
    seat,
    sensor,
    spring,
    strokes,
    stuck,
    travel,
)
from strokebench.diagnose.moving.case import MovingCase
from strokebench.diagnose.moving.seated import SeatedCase
from strokebench.diagnose.moving.sensorless import SensorlessCase
from strokebench.diagnose.person import guided
from strokebench.diagnose.person.case import GuidedCase
from strokebench.diagnose.question import Finder, Question
from strokebench.diagnose.switched import coil as switched_coil
from strokebench.diagnose.switched import held
from strokebench.diagnose.switched import motor as switched_motor
from strokebench.diagnose.switched import rotor as switched_rotor
from strokebench.diagnose.turning import inrush, load, loop, pump_alone, running, turns
from strokebench.diagnose.turning.case import TurningCase
from strokebench.diagnose.wires import flows, wiring

OTHER = "Other"
"""Group of a finding that no question declares, as in a book written by another version."""


@dataclass(frozen=True)
class Kind:
    """How a kind of part is diagnosed: the class of its case, and its finders in order.

    ``alone``: finders that make do with the current of a part that somebody just switched on.
    """

    case: type[Case]
    finders: tuple[Finder, ...]
    alone: tuple[Finder, ...] = (held,)

    @property
    def questions(self) -> Iterator[Question]:
        """All questions that are asked of such a part."""
        return (finder.QUESTION for finder in (*self.finders, *self.alone))

    def group_of(self, key: str) -> str:
        """Return the report's group of a finding."""
        for question in self.questions:
            if key in question.keys:
                return question.group_of(key)
        return next((question.group for question in self.questions if question.of_guide), OTHER)

    @property
    def anyhow(self) -> frozenset[str]:
        """Keys of the findings whose limits hold however the part was driven."""
        return frozenset(key for question in self.questions for key in question.anyhow)

    @property
    def not_of_part(self) -> frozenset[str]:
        """Keys of the findings that are about bench, supply and recording."""
        return frozenset(key for question in self.questions for key in question.not_of_part)


ALWAYS: tuple[Finder, ...] = (evidence, supply, charger)

KINDS: dict[str, Kind] = {
    "throttle": Kind(
        MovingCase,
        (*ALWAYS, winding, ripple, motor, stuck, sensor, travel, rest, breakaway, friction, spring, binding,
         response),
    ),
    "egr_motor": Kind(
        SeatedCase,
        (*ALWAYS, winding, ripple, motor, stuck, sensor, travel, seat, breakaway, friction, spring, binding,
         response),
    ),
    "egr_solenoid": Kind(
        SolenoidValveCase,
        (*ALWAYS, winding, inductor, stuck, sensor, travel, seat, duty_curve, binding, response),
    ),
    "idle_actuator": Kind(SensorlessCase, (*ALWAYS, winding, ripple, strokes, binding)),
    "solenoid": Kind(CoilCase, (*ALWAYS, winding, inductor, pull, pull_time), alone=(held, switched_coil)),
    "fuel_pump_fuse": Kind(
        TurningCase,
        (*ALWAYS, wiring, running, loop, pump_alone, load, turns, inrush),
        alone=(switched_rotor, switched_motor),
    ),
    **dict.fromkeys(
        ("fuel_pump", "water_pump", "cooling_fan"),
        Kind(
            TurningCase,
            (*ALWAYS, running, loop, load, turns, inrush),
            alone=(switched_rotor, switched_motor),
        ),
    ),
    "wiring": Kind(Case, (*ALWAYS, flows, wiring)),
    "guided": Kind(GuidedCase, (*ALWAYS, guided)),
}  # fmt: skip
"""Kind of part -> how it is diagnosed."""

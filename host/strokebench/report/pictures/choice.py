"""Which figures a report gets, by kind of part and by what the recording holds."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from strokebench.data.findings import Finding
from strokebench.data.run import RunData
from strokebench.diagnose import case_of, channels
from strokebench.diagnose.case import followed_procedure
from strokebench.diagnose.expects import PartProfile
from strokebench.report.pictures import (
    egr_solenoid,
    foreign,
    guided,
    idle_actuator,
    moving,
    rotor,
    solenoid,
    wiring,
)
from strokebench.report.pictures.drawing import Picture

BY_KIND: dict[str, Callable[[Any, list[Finding]], list[Picture]]] = {
    "solenoid": solenoid.pictures,
    "egr_solenoid": egr_solenoid.pictures,
    "idle_actuator": idle_actuator.pictures,
    "wiring": wiring.pictures,
    **dict.fromkeys(("throttle", "egr_motor"), moving.pictures),
    "guided": guided.pictures,
    **dict.fromkeys(("fuel_pump", "fuel_pump_fuse", "water_pump", "cooling_fan"), rotor.pictures),
}
"""Kind of part -> its figures."""


def pictures(run: RunData, profile: PartProfile, findings: list[Finding]) -> list[Picture]:
    """Return the figures of a run in reading order."""
    whole = followed_procedure(run) and not channels.lacking(run) & {"current", "volts"}
    draw = BY_KIND[profile.kind] if whole else foreign.pictures
    return draw(case_of(run, profile), findings)

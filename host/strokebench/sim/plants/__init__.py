"""The simulated parts: one module each, all behind :class:`strokebench.sim.plants.base.Plant`."""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

from strokebench.bench.spec import SimSpec
from strokebench.errors import UsageError

if TYPE_CHECKING:
    from strokebench.sim.faults import FaultKind
    from strokebench.sim.plants.base import Plant

PARTS: dict[str, str] = {
    "throttle-body": "throttle",
    "throttle-loh2013": "throttle",
    "egr-motor": "egr_motor",
    "idle-actuator": "idle_actuator",
    "wiring": "wiring",
    "fuel-pump": "fuel_pump",
    "fuel-pump-fuse": "fuel_pump_fuse",
    "cooling-fan": "cooling_fan",
    "water-pump": "water_pump",
    "solenoid": "solenoid_onoff",
    "solenoid-reference": "solenoid_onoff",
    "egr-solenoid": "egr_solenoid",
}
"""Name of a part -> module in the package of its family."""
PACKAGES = {"first": "strokebench.sim.plants", "second": "strokebench.sim.second"}
ONLY_FIRST = ("throttle-loh2013", "solenoid-reference")
"""Parts of fixed numbers, which are there to be compared with their source."""


def canonical(part: str) -> str:
    """Return the name as it stands in :data:`PARTS`; UsageError names those known."""
    name = part.strip().lower().replace("_", "-")
    if name not in PARTS:
        raise UsageError(
            f"There is no simulated part called {part!r}.", f"Known: {', '.join(sorted(PARTS))}."
        )
    return name


def module_of(part: str, family: str = "first") -> str:
    """Return the dotted name of the module that simulates ``part``; UsageError where the family has none."""
    name = canonical(part)
    if family != "first" and name in ONLY_FIRST:
        raise UsageError(f"{name} is one specimen of fixed numbers.", "Leave --family out.")
    return f"{PACKAGES[family]}.{PARTS[name]}"


def make_plant(spec: SimSpec) -> Plant:
    """Build the plant that ``spec`` asks for; UsageError for unknown parts or faults."""
    plant: Plant = import_module(module_of(spec.part, spec.family)).build(spec)
    return plant


def available(part: str) -> tuple[FaultKind, ...]:
    """Return the defects that the plant of ``part`` knows; UsageError for an unknown part."""
    kinds: tuple[FaultKind, ...] = import_module(module_of(part)).FAULTS
    return kinds

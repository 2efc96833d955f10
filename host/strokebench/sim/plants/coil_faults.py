"""What the coils share: drawing a value, and the defects common to on/off and proportional solenoids."""

from __future__ import annotations

from dataclasses import replace
from typing import Any, ClassVar, Protocol, TypeVar

from strokebench.sim.faults import OPEN_WINDING, WEAK_BATTERY, Fault, FaultKind
from strokebench.sim.plants.plunger import Coil

COIL_FAULTS = (
    FaultKind(
        "sticky", "dirt: the plunger drags", "friction added, in shares of the spring's preload", 0.35, 0.8
    ),
    FaultKind("weak_spring", "the return spring is weak", "share lost", 0.35, 0.7, largest=0.95),
    FaultKind("shorted_turns", "some turns are shorted", "share of the turns", 0.25, 0.45, largest=0.9),
    OPEN_WINDING,
    FaultKind("lead_resistance", "a bad lead or contact to the part", "extra ohms", 4.0, 10.0),
    WEAK_BATTERY,
)


class Plunged(Protocol):
    """What the coils of both families have alike."""

    __dataclass_fields__: ClassVar[dict[str, Any]]

    @property
    def coulomb_n(self) -> float: ...
    @property
    def stiction(self) -> float: ...
    @property
    def preload_n(self) -> float: ...
    @property
    def rate_n_per_m(self) -> float: ...


AnyCoil = TypeVar("AnyCoil", bound=Plunged)


def dirty_or_weak(coil: AnyCoil, fault: Fault) -> AnyCoil:
    """Return ``coil`` with dirt, a weak spring or a leak beside it, unchanged by other defects."""
    if fault.name == "sticky":
        return replace(
            coil, coulomb_n=coil.coulomb_n + fault.size * coil.preload_n, stiction=coil.stiction + 0.1
        )
    if fault.name == "weak_spring":
        left = 1 - fault.size
        return replace(coil, preload_n=left * coil.preload_n, rate_n_per_m=left * coil.rate_n_per_m)
    if fault.name == "leaky_freewheel":
        return replace(coil, parallel_ohm=100.0 / fault.size)
    return coil


def worn_coil(coil: Coil, fault: Fault) -> Coil:
    """Return ``coil`` with the defect, unchanged by those that concern something else."""
    if fault.name != "shorted_turns":
        return dirty_or_weak(coil, fault)
    left = 1 - fault.size
    square = left * left
    return replace(
        coil,
        resistance_ohm=left * coil.resistance_ohm,
        base_h=square * coil.base_h,
        a_hm=square * coil.a_hm,
        slope_h_per_m=square * coil.slope_h_per_m,
    )

"""What the motor-driven positioners share: drawing values, their common defects, and putting one together."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any, ClassVar, Protocol, TypeVar

import numpy as np
from numpy.typing import NDArray

from strokebench.bench.spec import SimSpec
from strokebench.sim.faults import OPEN_WINDING, WEAK_BATTERY, Fault, FaultKind
from strokebench.sim.plants.base import conditions_of
from strokebench.sim.plants.pieces.friction import bump, level_along
from strokebench.sim.plants.pieces.track_faults import worn_tracks
from strokebench.sim.plants.pieces.tracks import TrackShape
from strokebench.sim.plants.positioner import Mover, Positioner, grid

MOVER_FAULTS = (
    FaultKind(
        "binding",
        "something rubs at one place",
        "friction added there, in the specimen's own",
        0.6,
        1.5,
        "share of travel",
        0.45,
    ),
    FaultKind("sticky", "dirt everywhere", "friction added, in the specimen's own", 0.8, 1.8),
    OPEN_WINDING,
    FaultKind("shorted_turns", "some turns are shorted", "share of the turns", 0.25, 0.45, largest=0.9),
    FaultKind("lead_resistance", "a bad lead or contact to the part", "extra ohms", 0.5, 1.5),
    WEAK_BATTERY,
)
WEAK_SPRING = FaultKind(
    "weak_spring", "the return spring is weak", "share lost on the opening side", 0.35, 0.7, largest=1.0
)


class Sprung(Protocol):
    """What the movers of both families have alike."""

    __dataclass_fields__: ClassVar[dict[str, Any]]

    @property
    def stiction(self) -> float: ...
    @property
    def spring(self) -> Any: ...


AnyMover = TypeVar("AnyMover", bound=Sprung)


def dirty_or_weak(mover: AnyMover, fault: Fault) -> AnyMover:
    """Return ``mover`` with dirt or a weak spring, unchanged by defects that concern something else."""
    if fault.name == "sticky":
        return replace(mover, stiction=mover.stiction + 0.15 * fault.size)
    if fault.name == "weak_spring":
        spring, left = mover.spring, 1 - fault.size
        weak = replace(
            spring, open_preload_nm=left * spring.open_preload_nm, open_rate_nm=left * spring.open_rate_nm
        )
        return replace(mover, spring=weak)
    return mover


def friction_added(
    faults: Sequence[Fault], share: NDArray[np.float64], own_nm: float
) -> Iterator[float | NDArray[np.float64]]:
    """Yield what each defect adds to a friction of ``own_nm`` along the ``share`` of travel, N m."""
    for fault in faults:
        if fault.name == "sticky":
            yield fault.size * own_nm
        elif fault.name == "binding":
            yield fault.size * own_nm * bump(share, float(fault.place))
        elif fault.name == "sticky_seat":
            yield fault.size * own_nm * bump(share, 0.0, 0.02)


def worn_mover(mover: Mover, fault: Fault) -> Mover:
    """Return ``mover`` with the defect, unchanged by those that concern something else."""
    if fault.name != "shorted_turns":
        return dirty_or_weak(mover, fault)
    left = 1 - fault.size  # fewer turns carry current, make torque and flux
    return replace(
        mover,
        resistance_ohm=left * mover.resistance_ohm,
        k_si=left * mover.k_si,
        inductance_h=left * left * mover.inductance_h,
    )


def assemble(
    spec: SimSpec,
    mover: Mover,
    coulomb_nm: float,
    faults: Sequence[Fault],
    shapes: Sequence[TrackShape],
    rng: np.random.Generator,
    uneven: float = 0.05,
    cogging_nm: float = 0.0,
) -> Positioner:
    """Return the positioner with its defects; ``uneven``: relative waviness of a good part's friction."""
    for fault in faults:
        mover = worn_mover(mover, fault)
    angle = grid(mover.travel_rad)
    share = angle / mover.travel_rad
    level = level_along(share, coulomb_nm, uneven, rng)
    for added in friction_added(faults, share, coulomb_nm):
        level = level + added
    cogging = cogging_nm * np.sin(angle * 170 + rng.uniform(0, 6))
    conditions = conditions_of(spec, faults, np.random.default_rng((spec.seed, 2)))
    plant = Positioner(conditions, mover, level, cogging, worn_tracks(shapes, share, spec.seed, faults))
    plant.connected = not any(fault.name == "open_winding" for fault in faults)
    return plant

"""What pumps and fans share: drawing a specimen, the defects that all have, and putting one together."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np

from strokebench.bench.spec import SimSpec
from strokebench.sim.faults import OPEN_WINDING, WEAK_BATTERY, FaultKind, parse_all
from strokebench.sim.plants.base import conditions_of
from strokebench.sim.plants.pieces.spread import about, ordinary
from strokebench.sim.plants.rotary import Commutator, Rotary, Turner

COMMON_FAULTS = (
    FaultKind("blocked", "the rotor cannot turn", "no matter", 1, 1),
    FaultKind("dragging", "the bearing drags", "friction added, in shares of the running torque", 0.4, 0.9),
    FaultKind("bad_segment", "a commutator segment is burnt", "ohms added there, in the winding's", 0.6, 2.0),
    FaultKind(
        "worn_brush", "worn or bouncing brushes", "random contact noise, share of the winding", 0.25, 0.7
    ),
    FaultKind("weak_magnet", "the motor has lost flux", "share lost", 0.2, 0.4, largest=0.9),
    OPEN_WINDING,
    FaultKind("lead_resistance", "a bad lead or contact to the part", "extra ohms", 0.15, 0.5),
    WEAK_BATTERY,
)

Effect = Callable[[Turner, float], Turner]
"""What a defect of a size does to a motor and its load."""
Made = TypeVar("Made", bound=Rotary)


@dataclass(frozen=True)
class Design:
    """A kind of turning part: its parameters, its rated speed, and the defects that only this kind has."""

    nominal: Turner
    speed_rad_s: float
    own: Mapping[FaultKind, Effect]
    around: tuple[FaultKind, ...] = ()
    """Defects of what surrounds the motor, which whoever builds that applies."""

    @property
    def faults(self) -> tuple[FaultKind, ...]:
        """All defects that a specimen can have."""
        return (*COMMON_FAULTS, *self.own, *self.around)

    def build(self, spec: SimSpec) -> Rotary:
        """Return the specimen that ``spec`` asks for; UsageError for unknown faults."""
        return self.build_as(Rotary, spec)

    def build_as(self, make: type[Made], spec: SimSpec) -> Made:
        """Return the specimen that ``spec`` asks for, as a sub-class of Rotary."""
        faults = parse_all(spec.faults, spec.part, self.faults)
        turner, brushes = _specimen(self.nominal, np.random.default_rng((spec.seed, 1)))
        running_nm = _load_nm(turner, self.speed_rad_s)
        own = {kind.name: effect for kind, effect in self.own.items()}
        for fault in faults:
            if fault.name == "dragging":
                turner = replace(turner, dry_nm=turner.dry_nm + fault.size * running_nm)
            elif fault.name == "bad_segment":
                brushes = replace(brushes, segment=fault.size)
            elif fault.name == "worn_brush":
                brushes = replace(brushes, bounce=fault.size)
            elif fault.name == "weak_magnet":
                turner = replace(turner, k_si=(1 - fault.size) * turner.k_si)
            elif fault.name in own:
                turner = own[fault.name](turner, fault.size)
        conditions = conditions_of(spec, faults, np.random.default_rng((spec.seed, 2)))
        plant = make(conditions, turner, brushes, np.random.default_rng((spec.seed, 3)))
        names = {fault.name for fault in faults}
        plant.jammed = "blocked" in names
        plant.connected = "open_winding" not in names
        return plant


def more_flow(turner: Turner, share: float) -> Turner:
    """Return a part whose flow takes this share of torque more."""
    return replace(turner, flow_nms2=(1 + share) * turner.flow_nms2)


def _load_nm(turner: Turner, speed_rad_s: float) -> float:
    """Torque of the load at a speed."""
    return turner.dry_nm + turner.viscous_nms * speed_rad_s + turner.flow_nms2 * speed_rad_s**2


def _specimen(nominal: Turner, rng: np.random.Generator) -> tuple[Turner, Commutator]:
    """Return an ordinary good part around ``nominal``; spreads are engineering judgement."""
    turner = ordinary(
        nominal, rng, resistance_ohm=0.07, inductance_h=0.12, k_si=0.05, inertia_kgm2=0.08, dry_nm=0.2,
        flow_nms2=0.08, once_a_turn=0.5,
    )  # fmt: skip
    return turner, Commutator(bounce=about(0.02, 0.5, rng))

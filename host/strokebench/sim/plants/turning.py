"""What the turning parts share: drawing a specimen, and the defects that pumps and fans have alike."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import TypeVar

import numpy as np

from strokebench.bench.spec import SimSpec
from strokebench.sim.faults import OPEN_WINDING, WEAK_BATTERY, Fault, FaultKind, parse_all
from strokebench.sim.plants.base import conditions_of
from strokebench.sim.plants.rotary import Commutator, Rotary, Turner
from strokebench.sim.plants.spread import about

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

Own = Callable[[Turner, Fault], Turner]
Made = TypeVar("Made", bound=Rotary)


def running_nm(turner: Turner, speed_rad_s: float) -> float:
    """Torque of the load at a speed."""
    return turner.dry_nm + turner.viscous_nms * speed_rad_s + turner.flow_nms2 * speed_rad_s**2


def specimen(nominal: Turner, rng: np.random.Generator) -> tuple[Turner, Commutator]:
    """Return an ordinary good part around ``nominal``; spreads are engineering judgement."""

    turner = replace(
        nominal,
        resistance_ohm=about(nominal.resistance_ohm, 0.07, rng),
        inductance_h=about(nominal.inductance_h, 0.12, rng),
        k_si=about(nominal.k_si, 0.05, rng),
        inertia_kgm2=about(nominal.inertia_kgm2, 0.08, rng),
        dry_nm=about(nominal.dry_nm, 0.2, rng),
        flow_nms2=about(nominal.flow_nms2, 0.08, rng),
        once_a_turn=about(nominal.once_a_turn, 0.5, rng),
    )
    return turner, Commutator(bounce=about(0.02, 0.5, rng))


def build_turning(
    spec: SimSpec,
    known: Sequence[FaultKind],
    nominal: Turner,
    speed_rad_s: float,
    own: Own,
    make: type[Made] = Rotary,  # type: ignore[assignment]
) -> Made:
    """Return the motor that ``spec`` asks for; ``own`` applies those of the ``known`` defects that only this
    part has.
    """
    faults = parse_all(spec.faults, spec.part, known)
    turner, brushes = specimen(nominal, np.random.default_rng((spec.seed, 1)))
    running = running_nm(turner, speed_rad_s)
    for fault in faults:
        if fault.name == "dragging":
            turner = replace(turner, dry_nm=turner.dry_nm + fault.size * running)
        elif fault.name == "bad_segment":
            brushes = replace(brushes, segment=fault.size)
        elif fault.name == "worn_brush":
            brushes = replace(brushes, bounce=fault.size)
        elif fault.name == "weak_magnet":
            turner = replace(turner, k_si=(1 - fault.size) * turner.k_si)
        else:
            turner = own(turner, fault)
    conditions = conditions_of(spec, faults, np.random.default_rng((spec.seed, 2)))
    plant = make(conditions, turner, brushes, np.random.default_rng((spec.seed, 3)))
    names = {fault.name for fault in faults}
    plant.jammed = "blocked" in names
    plant.connected = "open_winding" not in names
    return plant

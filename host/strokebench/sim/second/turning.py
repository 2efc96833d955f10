"""What pumps and fans of the second family share: drawing a specimen, common defects, putting together.

Spreads are engineering judgement: brushes drop 0.3 to 0.9 V with a knee of 0.2 to 0.8 A, loads go with
speed to the power 1.75 to 2.2, pumps pulsate by 5 to 11 cells a turn.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np

from strokebench.bench.spec import SimSpec
from strokebench.sim.faults import FaultKind, parse_all
from strokebench.sim.plants.base import conditions_of
from strokebench.sim.plants.pieces.spread import about
from strokebench.sim.second.rotor import Spun, Turner
from strokebench.sim.second.supply import any_charger

Effect = Callable[[Turner, float], Turner]
"""What a defect of a size does to a motor and its load."""
Made = TypeVar("Made", bound=Spun)


@dataclass(frozen=True)
class Design:
    """A kind of turning part: its parameters, what it may be unlike in, its own defects by name."""

    nominal: Turner
    faults: tuple[FaultKind, ...]
    own: Mapping[str, Effect]
    pulses: tuple[int, ...]
    pulse: float

    def build_as(self, make: type[Made], spec: SimSpec) -> Made:
        """Return the specimen that ``spec`` asks for; UsageError for unknown faults."""
        faults = parse_all(spec.faults, spec.part, self.faults)
        turner = self.specimen(np.random.default_rng((spec.seed, 11)))
        running_nm = turner.load_nm(turner.rated_rad_s)
        for fault in faults:
            if fault.name == "dragging":
                turner = replace(turner, dry_nm=turner.dry_nm + fault.size * running_nm)
            elif fault.name == "bad_segment":
                turner = replace(turner, segment=fault.size)
            elif fault.name == "worn_brush":
                turner = replace(turner, bounce=fault.size)
            elif fault.name == "weak_magnet":
                turner = replace(turner, k_si=(1 - fault.size) * turner.k_si)
            elif fault.name in self.own:
                turner = self.own[fault.name](turner, fault.size)
        conditions = conditions_of(spec, faults, np.random.default_rng((spec.seed, 2)))
        charger = any_charger(np.random.default_rng((spec.seed, 12)))
        plant = make(conditions, turner, charger, np.random.default_rng((spec.seed, 13)))
        names = {fault.name for fault in faults}
        plant.jammed = "blocked" in names
        plant.connected = "open_winding" not in names
        return plant

    def specimen(self, rng: np.random.Generator) -> Turner:
        """Return an ordinary good part."""
        nominal = self.nominal
        return replace(
            nominal,
            resistance_ohm=about(nominal.resistance_ohm, 0.07, rng),
            inductance_h=about(nominal.inductance_h, 0.12, rng),
            k_si=about(nominal.k_si, 0.05, rng),
            inertia_kgm2=about(nominal.inertia_kgm2, 0.08, rng),
            dry_nm=about(nominal.dry_nm, 0.2, rng),
            viscous_nms=about(nominal.viscous_nms, 0.5, rng),
            flow_nm=about(nominal.flow_nm, 0.08, rng),
            power=float(rng.uniform(1.75, 2.2)),
            drop_v=about(nominal.drop_v, 0.5, rng),
            knee_a=about(nominal.knee_a, 0.6, rng),
            ring_share=float(rng.uniform(0.05, 0.3)),
            ring_s=float(np.exp(rng.uniform(np.log(8e-6), np.log(80e-6)))),
            stiction=float(rng.uniform(1.1, 1.5)),
            presliding_rad=float(rng.uniform(0.003, 0.02)),
            once_a_turn=about(nominal.once_a_turn, 0.5, rng),
            pulses=int(rng.choice(self.pulses)),
            pulse=self.pulse * float(rng.uniform(0.3, 1.7)),
            bounce=about(nominal.bounce, 0.6, rng),
            shorting=float(rng.uniform(0.01, 0.05)),
            unlike=float(rng.uniform(0.001, 0.006)),
            flat=float(rng.uniform(1.0, 3.0)),
        )

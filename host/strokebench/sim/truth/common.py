"""What every part's truth is made of: the winding's resistance, the supply, and where the part was when."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from strokebench.data.findings import Finding
from strokebench.data.run import RunData
from strokebench.parts.profile import Profile
from strokebench.physics.copper import resistance_at

Floats = NDArray[np.float64]

MEANS = {
    "supply_rest": "open-circuit voltage of the battery, without the ripple of a charger",
    "source_resistance": "resistance of battery and supply leads",
    "winding_resistance": "resistance of the winding at 20 C without brushes, plus that of leads"
    " beyond those of the profile",
}


@dataclass(frozen=True)
class Specimen:
    """A stroked part: plant, profile, recording, what was found; ``seen`` is what the plant did (see
    :func:`strokebench.sim.trials.stroke`)."""

    plant: Any
    profile: Profile
    run: RunData
    found: dict[str, Finding]
    seen: list[tuple[float, float]]

    @property
    def beyond_ohm(self) -> float:
        """What the leads have beyond those that the profile states."""
        return float(self.plant.conditions.lead_ohm) - self.profile.nominal.get("lead_ohm", 0.0)

    def places(self, label: str) -> Floats:
        """Where the part was (share of travel) at the end of each stretch of that name; NaN if not seen."""
        out = []
        for mark in self.run.labelled(label):
            middle_s = 0.5 * (mark.start_s + mark.end_s)
            late = [place for time_s, place in self.seen if middle_s < time_s <= mark.end_s]
            out.append(late[-1] if late else np.nan)
        return np.array(out)


def supply(specimen: Specimen) -> dict[str, float]:
    """Return the truths of the supply."""
    conditions = specimen.plant.conditions
    return {"supply_rest": conditions.supply_v, "source_resistance": 1e3 * conditions.source_ohm}


def winding_ohm(specimen: Specimen, ohm: float) -> float:
    """Return the resistance at 20 C of a winding of ``ohm`` at 25 C, and what the leads have too much."""
    return resistance_at(ohm, 25.0, 20.0) + specimen.beyond_ohm

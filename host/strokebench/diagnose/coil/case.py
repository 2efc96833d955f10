"""A case of a coil that pulls a plunger: current against its own zero, and the loop's resistance, each
once."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import ClassVar

import numpy as np

from strokebench.diagnose import labels
from strokebench.diagnose.case import Case, load_voltage
from strokebench.diagnose.stats import Floats
from strokebench.diagnose.winding import Loop, fit_loop, once

DROP_U_V = 0.03
"""Standard uncertainty of what contacts take, where a coil's resistance is known from a single current."""
NOT_STEADY = "no long enough stretch in which the current stayed the same"


@dataclass(frozen=True)
class CoilCase(Case):
    """Run, profile, and what the finders of a coil share.

    ``when_pulled``: the defect that an inductance too high at rest means.
    """

    holds_title: ClassVar[str] = "Current at full drive"
    when_pulled: ClassVar[str] = "stuck_closed"

    @cached_property
    def current_a(self) -> Floats:
        """Current of all samples above that zero."""
        return np.asarray(self.run.samples["current_a"], float) - self.zero_a

    @cached_property
    def volts(self) -> Floats:
        """Voltage across the part's leads, all samples."""
        return load_voltage(self.run.samples)

    @cached_property
    def loop(self) -> Loop | str:
        """Resistance of coil and leads, or why it is not known."""
        if self.by_samples:
            steady = list(self.samples(labels.STEADY))
            return once(self, steady, 0.0, DROP_U_V) if steady else NOT_STEADY
        return fit_loop(self)

    @property
    def highest_a(self) -> float:
        """Highest current of the run (robust), amperes."""
        return float(np.percentile(self.current_a, 99.5)) if len(self.current_a) else 0.0

    def induced_v(self, start_s: float, end_s: float) -> Floats:
        """V - R i over a stretch, volts: the rate of change of the flux, and a drift as the coil warms up."""
        here = self.window(start_s, end_s)
        ohm = self.loop.ohm if isinstance(self.loop, Loop) else 0.0
        return self.volts[here] - ohm * self.current_a[here]

"""A case of a proportional solenoid valve with a position sensor: a coil and a seated, moving part in one."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import ClassVar

import numpy as np

from strokebench.data.samples import Samples
from strokebench.diagnose import labels
from strokebench.diagnose.case import load_voltage
from strokebench.diagnose.coil.case import DROP_U_V, NOT_STEADY, CoilCase
from strokebench.diagnose.moving.seated import SeatedCase
from strokebench.diagnose.moving.sweeps import Sweeps, read_sweeps
from strokebench.diagnose.winding import Loop, fit_loop, once

NEAR_TOP, RISES_S, FEWEST = 0.9, 0.1, 50
"""Volts so near their highest; how long the current of a coil takes to come up, and fewest rows behind."""


@dataclass(frozen=True)
class SolenoidValveCase(SeatedCase, CoilCase):
    """The pull of a coil goes with the square of its current (i^2/2 dL/dx), so that is what sweeps hold:
    A2."""

    leaves_rest: ClassVar[str] = labels.SWEEP_OPEN
    presses: ClassVar[bool] = False
    by_motor: ClassVar[bool] = False
    when_pulled: ClassVar[str] = "stuck_open"

    @cached_property
    def loop(self) -> Loop | str:
        """Resistance of coil and leads; in somebody else's recording from where its volts were highest:
        turned up slowly, the current follows the volts."""
        if not self.by_samples:
            return fit_loop(self)
        hard = self._hardest()
        return NOT_STEADY if hard is None else once(self, [hard], 0.0, DROP_U_V)

    def _hardest(self) -> Samples | None:
        """Rows near the highest volts, without those in which the current comes up; None of too few."""
        volts = np.abs(load_voltage(self.run.samples))
        if not np.isfinite(volts).all():
            return self.run.samples  # says that the volts are missing
        near = volts > NEAR_TOP * float(np.percentile(volts, 99))
        spans = np.flatnonzero(np.diff(np.concatenate(([False], near, [False])).astype(int))).reshape(-1, 2)
        start, end = max(spans.tolist(), key=lambda span: span[1] - span[0], default=(0, 0))
        start += max(round(RISES_S / self.period_s), (end - start) // 3)
        return self.run.samples[start:end] if end - start >= FEWEST else None

    def sweep_reach(self, direction: int) -> float:
        """A sweep may end anywhere: where it ends the drive does, and position follows the pull."""
        return 0.0

    @cached_property
    def sweeps(self) -> Sweeps:
        """Slow sweeps; ``current_a`` and all that comes from it are squares of the current, A2."""
        raw = read_sweeps(self, self.position)
        return Sweeps(
            tuple(
                replace(
                    sweep,
                    current_a=(sweep.current_a - self.zero_a) ** 2,
                    push_a=(sweep.push_a - self.zero_a) ** 2,
                )
                for sweep in raw.passes
            )
        )

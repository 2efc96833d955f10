"""A case of a proportional solenoid valve with a position sensor: a coil and a seated, moving part in one."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import ClassVar

from strokebench.diagnose import labels
from strokebench.diagnose.coil.case import CoilCase
from strokebench.diagnose.moving.seated import SeatedCase
from strokebench.diagnose.moving.sweeps import Sweeps, read_sweeps


@dataclass(frozen=True)
class SolenoidValveCase(SeatedCase, CoilCase):
    """The pull of a coil goes with the square of its current (i^2/2 dL/dx), so that is what sweeps hold:
    A2."""

    leaves_rest: ClassVar[str] = labels.SWEEP_OPEN
    presses: ClassVar[bool] = False
    by_motor: ClassVar[bool] = False
    when_pulled: ClassVar[str] = "stuck_open"

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

"""What every winding of the second family does alike: an inductance that depends on frequency."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from strokebench.sim.plants.base import PWM_HZ
from strokebench.sim.plants.pieces.winding import Winding
from strokebench.sim.second.harmonics import ripple_a
from strokebench.sim.second.iron import Floats


class Wound(Winding):
    """A winding whose PWM ripple is the sum of its harmonics through :meth:`inductance_at`."""

    def inductance_at(self, hz: float | Floats) -> NDArray[np.complex128]:
        """Inductance (complex) as it is now, H."""
        raise NotImplementedError

    def waveform(self, channel: str, rate_hz: float, count: int, start_s: float = 0.0) -> Floats:
        if channel != "current":
            return super().waveform(channel, rate_hz, count, start_s)
        time_s = start_s + np.arange(count) / rate_hz
        mean = np.interp(time_s, np.arange(len(self._nodes)) * (1e-3 / (len(self._nodes) - 1)), self._nodes)
        return np.asarray(mean + math.copysign(1.0, self._drive) * self._ripple_a(time_s))

    def _ripple_a(self, time_s: Floats) -> Floats:
        """Deviation in A from the mean at the times, for a drive above 0."""
        return ripple_a(time_s, self._bridge_v, abs(self._drive), self._loop_ohm, self.inductance_at, PWM_HZ)

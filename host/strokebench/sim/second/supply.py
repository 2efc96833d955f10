"""What hangs on the battery: a charger whose ripple rides on the supply, and noise that has a memory."""

from __future__ import annotations

from dataclasses import dataclass
from math import pi, sin

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True)
class Charger:
    """A rectified charger: ``ripple_v`` its amplitude at ``hz``, the second harmonic's ``second`` share."""

    ripple_v: float = 0.0
    hz: float = 100.0
    second: float = 0.3
    phase: float = 0.0

    def volts(self, time_s: float) -> float:
        """Return what it adds to the battery at a time."""
        if self.ripple_v == 0.0:
            return 0.0
        turn = 2 * pi * self.hz * time_s + self.phase
        return self.ripple_v * (sin(turn) + self.second * sin(2 * turn + 1.0))


def any_charger(rng: np.random.Generator) -> Charger:
    """Return none, or one of 10 to 150 mV, twice the mains' frequency (spread: engineering judgement)."""
    there, ripple_v = rng.random() < 0.6, float(rng.uniform(0.01, 0.15))
    hz = float(rng.choice([100.0, 120.0])) * float(rng.uniform(0.998, 1.002))
    return Charger(
        ripple_v if there else 0.0, hz, float(rng.uniform(0.1, 0.5)), float(rng.uniform(0, 2 * pi))
    )


def coloured(count: int, corners: tuple[float, ...], rng: np.random.Generator) -> NDArray[np.float64]:
    """Return noise of unit size: lags with these corners (as shares of the sampling rate), of equal power.

    A sum of lags spread over decades is close to 1/f, as contact noise is (from memory).
    """
    hz = np.fft.rfftfreq(count)
    total = np.zeros(count)
    for corner in corners:
        white = np.fft.rfft(rng.normal(0, 1, count))
        wave = np.fft.irfft(white / np.sqrt(1 + (hz / corner) ** 2), count)
        total += wave / wave.std()
    return np.asarray(total / np.sqrt(len(corners)), np.float64)

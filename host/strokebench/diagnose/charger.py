"""A charger on the battery: its ripple at the mains' frequency or twice that, while the part rests."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from strokebench.data.findings import Finding
from strokebench.diagnose import labels
from strokebench.diagnose.case import Case, span_of
from strokebench.diagnose.question import Question
from strokebench.diagnose.stats import Floats, Measured

RIPPLE = ("supply_ripple", "Ripple of the supply at rest, peak to peak", "V")
HZ = (50.0, 60.0, 100.0, 120.0)
"""A rectifier of one or of both half waves, at either frequency of the mains."""
OFF = np.linspace(-0.01, 0.01, 9)
"""How far the mains' frequency may be off, as shares (EN 50160: 1 % in 99.5 % of a year)."""
HARMONICS = 3
CLEAR = 5.0
"""A ripple this many times its noise is a charger's."""
LEAST_S = 0.2
"""A rest must hold ten periods of the slowest ripple."""

QUESTION = Question(
    needs="supply", group="Supply and winding", keys=(RIPPLE[0],), not_of_part=(RIPPLE[0],)
)  # fmt: skip


@dataclass(frozen=True)
class Ripple:
    """Of the supply at rest: frequency, peak to peak, and its standard uncertainty from noise alone."""

    hz: float
    peak_v: float
    noise_v: float

    @property
    def there(self) -> bool:
        """True where it stands clear of the noise."""
        return self.peak_v > CLEAR * self.noise_v


def find(case: Case) -> list[Finding]:
    """Return the ripple before the first drive.

    Later the part's own current makes the supply ripple: it cannot be parted from a charger's there.
    """
    ripple = ripple_at_rest(case)
    if isinstance(ripple, str):
        return [case.missing(*RIPPLE, ripple)]
    u_v = math.hypot(ripple.noise_v, case.accuracy("supply_v", "gain") * ripple.peak_v)
    return [
        case.finding(
            *RIPPLE[:2],
            Measured(ripple.peak_v, u_v),
            RIPPLE[2],
            high="charger_ripple",
            span_s=span_of(next(iter(case.samples(labels.REST)))),
            evidence={"hz": ripple.hz},
        )
    ]


def ripple_at_rest(case: Case) -> Ripple | str:
    """Return the supply's ripple in the first rest, or why there is none to be seen."""
    rests = list(case.samples(labels.REST))
    if not rests or not np.isfinite(rests[0]["supply_v"]).all():
        return "the recording has no rest with supply voltage before the first drive"
    rows = rests[0]
    time_s, supply_v = np.asarray(rows["time_s"], float), np.asarray(rows["supply_v"], float)
    if len(rows) < 100 or time_s[-1] - time_s[0] < LEAST_S:
        return "the rest before the first drive is too short to see a ripple in it"
    hz, waveform, left_v = max(
        (_fit(time_s, supply_v, hz * (1 + off)) for hz in HZ for off in OFF), key=lambda fit: -fit[2]
    )
    noise_v = 2 * left_v * math.sqrt(2 * HARMONICS / len(rows))
    return Ripple(float(hz), float(np.ptp(waveform)), noise_v)


def _fit(time_s: Floats, supply_v: Floats, hz: float) -> tuple[float, Floats, float]:
    """Least squares of a period with harmonics: frequency, one period of it, and what is left (RMS, V)."""
    turns: Floats = np.array([2 * math.pi * number for number in range(1, HARMONICS + 1)])
    columns = _columns(turns, hz * time_s, True)
    found: Floats = np.asarray(np.linalg.lstsq(columns, supply_v, rcond=None)[0], float)
    left_v = float(np.std(supply_v - columns @ found))
    return hz, _columns(turns, np.asarray(np.linspace(0, 1, 200), float), False) @ found[2:], left_v


def _columns(turns: Floats, phase: Floats, line: bool) -> Floats:
    """Sines and cosines at each phase; ``line``: a battery that recovers rises slowly beside them."""
    waves = [wave(turn * phase) for turn in turns for wave in (np.sin, np.cos)]
    straight = [np.ones_like(phase), phase] if line else []
    return np.stack([*straight, *waves], axis=1)

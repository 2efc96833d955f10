"""Smoothed signals and their rates of change, thinned: what the regressions are fitted to.

Current, volts and position pass through one and the same filter; speed and acceleration come from its
derivatives. A linear equation between signals holds between filtered signals too, so nothing is shifted in
time against anything else (the state-variable filters of continuous-time identification: Garnier, Wang,
"Identification of Continuous-time Models from Sampled Data", 2008, chapter 4, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from strokebench.diagnose.stats import Floats, spread

HALF_S = 0.020
"""Half of the filter's window: longer and a quick move fits in no more, shorter and noise of speed biases."""
FEWEST = 4
"""Samples in half a window at least, where the recording is slow."""
GAP_PERIODS = 1.5
STEP_V = 0.8
"""Change of the volts from sample to sample within a window that tells of a step of the drive: left out."""
MOVES = 8.0
"""Speed in % of travel per second from which the part counts as moving (and 5 times the speed's noise)."""

Mask = NDArray[np.bool_]


@dataclass(frozen=True)
class Signals:
    """Arrays of one length, a row for each window.

    ``time_s``, ``volts``, ``current_a``, ``percent``: smoothed; ``current_rate`` A/s, ``speed`` %/s,
    ``acceleration`` %/s2; ``moving``: the same way during the whole window; ``still``: not at all;
    ``steady``: no step of the drive in it; ``stretch``: number of the movement that a row belongs to.
    ``noise_speed`` and ``noise_acceleration``: standard deviations that the position's noise puts into them.
    ``overlap``: rows that share samples with any one row.
    """

    time_s: Floats
    volts: Floats
    current_a: Floats
    current_rate: Floats
    percent: Floats
    speed: Floats
    acceleration: Floats
    moving: Mask
    still: Mask
    steady: Mask
    stretch: NDArray[np.intp]
    noise_speed: float
    noise_acceleration: float
    overlap: float


@lru_cache(maxsize=8)
def kernels(half: int) -> Floats:
    """Return the weights of a smooth mean, slope and curvature over 2 ``half`` - 1 samples, shape (3, n).

    A bell (1 - t^2)^4 and its derivatives, scaled to be exact on a parabola.
    """
    step = np.arange(-(half - 1), half, dtype=float)
    t = step / half
    bell = (1 - t * t) ** 4
    slope = t * (1 - t * t) ** 3
    bend = -8 * (1 - t * t) ** 3 + 48 * t * t * (1 - t * t) ** 2
    bend -= bend.mean()
    return np.stack((bell / bell.sum(), slope / (slope @ step), 2 * bend / (bend @ (step * step))))


def read_signals(time_s: Floats, volts: Floats, current_a: Floats, percent: Floats) -> Signals:
    """Return the signals of a recording sampled evenly but for gaps; ValueError for less than a window.

    Volts may be NaN: then nothing is ``steady``.
    """
    period_s = float(np.median(np.diff(time_s)))
    half = max(FEWEST, round(HALF_S / period_s))
    wide, hop = 2 * half - 1, max(half // 2, 1)
    if len(time_s) <= wide:
        raise ValueError("the recording is shorter than the filter's window")
    weights = kernels(half)

    def windows(values: Floats) -> Floats:
        return np.lib.stride_tricks.sliding_window_view(values, wide)[::hop]

    middle = windows(time_s)[:, half - 1]
    whole = np.ptp(windows(time_s)[:, [0, -1]], axis=1) < (wide - 1 + GAP_PERIODS) * period_s
    place = windows(percent) @ weights.T
    speed, acceleration = place[:, 1] / period_s, place[:, 2] / period_s**2
    amps = windows(current_a) @ weights[:2].T
    jumps = np.abs(np.diff(volts, prepend=volts[0]))
    steady = whole & (windows(jumps).max(axis=1) < STEP_V)
    noise = max(float(spread(np.diff(percent, 2))) / 6**0.5, 1e-6)
    noise_speed, noise_acceleration = (
        noise * float(np.sqrt(weights[order] @ weights[order])) / period_s**order for order in (1, 2)
    )
    moving = whole & _keeps_on(speed, max(MOVES, 5 * noise_speed), wide // hop)
    still = whole & (np.abs(speed) < max(0.3 * MOVES, 4 * noise_speed))
    return Signals(
        middle, windows(volts) @ weights[0], amps[:, 0], amps[:, 1] / period_s, place[:, 0], speed,
        acceleration, moving, still, steady, _stretches(moving), noise_speed, noise_acceleration, wide / hop,
    )  # fmt: skip


def _keeps_on(speed: Floats, least: float, rows: int) -> Mask:
    """True where all rows within half a window move the same way, at ``least`` so fast."""
    way = np.where(speed > least, 1, np.where(speed < -least, -1, 0))
    reach = np.lib.stride_tricks.sliding_window_view(np.pad(way, rows // 2), 2 * (rows // 2) + 1)
    return np.asarray(np.abs(reach.sum(axis=1)) == reach.shape[1])


def _stretches(moving: Mask) -> NDArray[np.intp]:
    """Number the runs of rows that move, from 0."""
    return np.asarray(np.cumsum(np.diff(moving, prepend=False) & moving) - 1)

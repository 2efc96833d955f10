"""Numbers from repeats and fits, each with its standard uncertainty.

Type A evaluation: JCGM 100:2008, 4.2. What comes from few repeats is widened by Student's factor for the
coverage that is claimed (2 u, 95.45 %), with the effective degrees of freedom of all contributions together
(Welch-Satterthwaite; JCGM 100:2008, G.3 and G.4). Robust spread: the median absolute deviation, scaled to a
normal standard deviation.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
MAD_TO_SIGMA = 1.4826

_T_95 = (13.968, 4.527, 3.307, 2.869, 2.649, 2.517, 2.429, 2.366, 2.320, 2.284)
"""Student t for 95.45 % and 1..10 degrees of freedom (JCGM 100:2008, table G.2: 13.97, 4.53, 3.31, ...)."""


@dataclass(frozen=True)
class Measured:
    """A value with its standard uncertainty (same unit) and the number of repeats behind it.

    ``u`` is half of what covers 95.45 %: where repeats contribute, their ``scatter`` (standard deviation of
    the mean, from ``freedom`` degrees of freedom) and what is ``known`` beside it, times Student's factor.
    """

    value: float
    u: float
    count: int = 1
    scatter: float = 0.0
    freedom: float = math.inf
    known: float = 0.0

    def widened(self, *more_u: float) -> Measured:
        """Return the same value with further, independent contributions added in quadrature."""
        if self.scatter <= 0 or not math.isfinite(self.u):
            return Measured(self.value, math.hypot(self.u, *more_u), self.count)
        known = math.hypot(self.known, *more_u)
        combined = math.hypot(self.scatter, known)
        u = combined * t_factor(self.freedom * (combined / self.scatter) ** 4)
        return Measured(self.value, u, self.count, self.scatter, self.freedom, known)


def t_factor(freedom: float) -> float:
    """Student's t over the normal's 2.0 for 95.45 %: by it an uncertainty from few degrees is widened.

    Between whole degrees straight in 1/freedom; infinite for less than one.
    """
    if freedom < 1:
        return math.inf
    last = len(_T_95)
    if freedom >= last:
        return 1 + (_T_95[-1] / 2 - 1) * last / freedom
    below = int(freedom)
    share = (1 / freedom - 1 / (below + 1)) / (1 / below - 1 / (below + 1))
    return (_T_95[below] + share * (_T_95[below - 1] - _T_95[below])) / 2


def repeats(values: ArrayLike) -> Measured:
    """Mean of repeats (any shape, flattened) with its type A uncertainty for the coverage that is claimed.

    One value alone says nothing about its spread: the uncertainty is then infinite.
    """
    data = np.asarray(values, float).ravel()
    count = data.size
    if count == 0:
        return Measured(math.nan, math.nan, 0)
    if count == 1:
        return Measured(float(data[0]), math.inf, 1)
    scatter = float(data.std(ddof=1)) / math.sqrt(count)
    return Measured(float(data.mean()), scatter * t_factor(count - 1), count, scatter, count - 1)


def repeats_or_once(values: ArrayLike, u_once: float) -> Measured:
    """As :func:`repeats`; of a single value, or of two that agree by chance, u is not below ``u_once``."""
    data = np.asarray(values, float)
    if data.size == 1:
        return Measured(float(data[0]), u_once, 1)
    found = repeats(data)
    return found if data.size > 2 else Measured(found.value, max(float(np.ptp(data)) / 2, u_once), 2)


def spread(values: ArrayLike) -> float:
    """Robust standard deviation: 1.4826 x median absolute deviation."""
    data = np.asarray(values, float)
    if data.size == 0:
        return math.nan
    return float(MAD_TO_SIGMA * np.median(np.abs(data - np.median(data))))


@dataclass(frozen=True)
class Line:
    """y = slope x + offset with standard uncertainties and the residual standard deviation (unit of y)."""

    slope: float
    offset: float
    u_slope: float
    u_offset: float
    residual: float


def line(x: ArrayLike, y: ArrayLike) -> Line:
    """Ordinary least squares through at least 3 points; ValueError with fewer or without spread in x."""
    a, b = np.asarray(x, float), np.asarray(y, float)
    centre = a - float(a.mean()) if a.size else a
    power = float(centre @ centre)
    if a.size < 3 or power <= 0:
        raise ValueError("a line needs at least 3 points at different places")
    slope = float(centre @ b) / power
    offset = float(b.mean()) - slope * float(a.mean())
    residual = math.sqrt(float(np.sum((b - slope * a - offset) ** 2)) / (a.size - 2))
    u_slope = residual / math.sqrt(power)
    return Line(
        slope, offset, u_slope, math.hypot(residual / math.sqrt(a.size), u_slope * a.mean()), residual
    )


def robust_line(x: ArrayLike, y: ArrayLike, rounds: int = 6) -> Line:
    """Least squares repeated without the points more than 3 robust sigma away (at most ``rounds`` times)."""
    a, b = np.asarray(x, float), np.asarray(y, float)
    keep = np.ones(a.size, bool)
    found = line(a, b)
    for _ in range(rounds):
        away = np.abs(b - found.slope * a - found.offset)
        fresh = away <= 3 * max(MAD_TO_SIGMA * float(np.median(away)), 1e-12)
        if fresh.sum() < 3 or np.array_equal(fresh, keep):
            break
        keep = fresh
        found = line(a[keep], b[keep])
    return found


def running_median(values: Floats, window: int) -> Floats:
    """Median over ``window`` points around each point (window shrinks at the ends; NaN are left out)."""
    half = window // 2
    padded = np.pad(np.asarray(values, float), half, constant_values=np.nan)
    ordered = np.sort(np.lib.stride_tricks.sliding_window_view(padded, 2 * half + 1), axis=1)  # NaN come last
    count = np.isfinite(ordered).sum(axis=1)
    row = np.arange(len(ordered))
    middle = (ordered[row, np.maximum(count - 1, 0) // 2] + ordered[row, count // 2]) / 2
    return np.asarray(np.where(count > 0, middle, np.nan))


def moving_mean(values: Floats, window: int) -> Floats:
    """Centred moving mean over an odd ``window``; the ends use what there is."""
    kernel = np.ones(window)
    weight = np.convolve(np.ones(len(values)), kernel, "same")
    return np.asarray(np.convolve(values, kernel, "same") / weight, float)

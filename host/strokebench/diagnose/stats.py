"""Numbers from repeats and fits, each with its standard uncertainty.

Type A evaluation and its t factor: JCGM 100:2008, 4.2 and G.3. Robust spread: the median absolute deviation,
scaled to a normal standard deviation.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
MAD_TO_SIGMA = 1.4826

_T_68 = (1.837, 1.321, 1.197, 1.142, 1.111, 1.091, 1.077, 1.067, 1.059, 1.053)
"""Student t for 68.27 % and 1..10 degrees of freedom (JCGM 100:2008, table G.2: 1.84, 1.32, 1.20, ...)."""


@dataclass(frozen=True)
class Measured:
    """A value with its standard uncertainty (same unit) and the number of repeats behind it."""

    value: float
    u: float
    count: int = 1

    def widened(self, *more_u: float) -> Measured:
        """Return the same value with further, independent contributions added in quadrature."""
        return Measured(self.value, math.hypot(self.u, *more_u), self.count)


def t_factor(freedom: int) -> float:
    """Factor by which a standard uncertainty from ``freedom`` degrees of freedom is widened; inf for none."""
    if freedom < 1:
        return math.inf
    return _T_68[freedom - 1] if freedom <= len(_T_68) else 1 + 0.5 / freedom


def repeats(values: ArrayLike) -> Measured:
    """Mean of repeats (any shape, flattened) and its type A standard uncertainty widened by the t factor.

    One value alone says nothing about its spread: the uncertainty is then infinite.
    """
    data = np.asarray(values, float).ravel()
    count = data.size
    if count == 0:
        return Measured(math.nan, math.nan, 0)
    if count == 1:
        return Measured(float(data[0]), math.inf, 1)
    u = float(data.std(ddof=1)) / math.sqrt(count) * t_factor(count - 1)
    return Measured(float(data.mean()), u, count)


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
    view = np.lib.stride_tricks.sliding_window_view(padded, 2 * half + 1)
    if np.isnan(values).all():
        return np.full(len(values), np.nan)
    filled = np.where(np.isnan(view).all(axis=1)[:, None], 0.0, view)
    return np.where(np.isnan(view).all(axis=1), np.nan, np.nanmedian(filled, axis=1))


def moving_mean(values: Floats, window: int) -> Floats:
    """Centred moving mean over an odd ``window``; the ends use what there is."""
    kernel = np.ones(window)
    weight = np.convolve(np.ones(len(values)), kernel, "same")
    return np.asarray(np.convolve(values, kernel, "same") / weight, float)

"""Least squares of bench readings over reference readings, with uncertainty.

Straight line r = o + g y without weights, JCGM 100:2008 H.3.  Uncertainty has an independent part per point
(reference's resolution, repeatability of the bench, its curvature; or the scatter about the line if that is
larger) and a part common to all points (gain and zero of the reference), which no number of points averages
away.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from strokebench.physics import gum


@dataclass(frozen=True)
class Point:
    """Reference ``y`` and bench reading ``r`` in the fitted unit; standard uncertainties of each that are
    independent of the other points.
    """

    y: float
    r: float
    u_y: float = 0.0
    u_r: float = 0.0


@dataclass(frozen=True)
class Line:
    """``r = offset + gain * y``; ``u_offset`` in the unit of ``y``, ``u_gain`` relative to the gain,
    ``covariance`` of the two; ``residuals`` in the unit; ``freedom``: degrees of freedom of the independent
    part (infinite where it was known beforehand).
    """

    offset: float
    gain: float
    u_offset: float
    u_gain: float
    covariance: float
    scatter: float
    freedom: float
    residuals: tuple[float, ...]
    parts: tuple[tuple[str, float, float], ...]
    """Budget: (source, contribution to the offset, contribution to the relative gain), standard."""

    def corrected(self, r: float) -> float:
        """Return what the reference would show where the bench shows ``r``."""
        return (r - self.offset) / self.gain

    def u(self, y: float) -> float:
        """Return the standard uncertainty of a corrected reading near ``y``, without the bench's noise."""
        variance = self.u_offset**2 + 2 * y * self.covariance + (y * self.u_gain) ** 2
        return math.sqrt(max(variance, 0.0))


def fit(
    points: Sequence[Point],
    *,
    common_gain: float = 0.0,
    common_offset: float = 0.0,
    curvature: float = 0.0,
    rounding: tuple[float, float] = (0.0, 0.0),
) -> Line:
    """Fit a line through at least two points at different ``y``.

    ``common_gain`` (relative) and ``common_offset`` (unit): standard uncertainty of the reference, the same
    for all points.  ``curvature``: standard deviation of the bench's own deviation from a line.
    ``rounding``: standard uncertainty of offset and relative gain as they are stored.
    """
    n = len(points)
    mean_y = math.fsum(p.y for p in points) / n
    mean_r = math.fsum(p.r for p in points) / n
    spread = math.fsum((p.y - mean_y) ** 2 for p in points)
    gain = math.fsum((p.y - mean_y) * (p.r - mean_r) for p in points) / spread
    offset = mean_r - gain * mean_y
    residuals = tuple(p.r - offset - gain * p.y for p in points)
    known = [math.hypot(p.u_r, gain * p.u_y, curvature) for p in points]
    scatter, freedom = _scatter(known, residuals)
    # a point's weight in gain and offset; all are widened alike when they scatter more than was known
    if not any(known):
        known = [1.0] * n
    wider = scatter / _rms(known)
    slopes = [(p.y - mean_y) / spread for p in points]
    zeros = [1 / n - mean_y * slope for slope in slopes]
    of_gain = [slope * u * wider / gain for slope, u in zip(slopes, known, strict=True)]
    of_zero = [zero * u * wider / gain for zero, u in zip(zeros, known, strict=True)]
    parts: tuple[tuple[str, float, float], ...] = (
        (
            "points: resolution, repeatability, curvature, scatter",
            gum.combined(of_zero),
            gum.combined(of_gain),
        ),
        ("reference: zero", common_offset, 0.0),
        ("reference: gain", 0.0, common_gain),
        ("stored with 16 bit", rounding[0], rounding[1]),
    )
    u_offset = gum.combined([part[1] for part in parts])
    u_gain = gum.combined([part[2] for part in parts])
    covariance = math.fsum(a * b for a, b in zip(of_gain, of_zero, strict=True))
    return Line(offset, gain, u_offset, u_gain, covariance, scatter, freedom, residuals, parts)


def fit_zero(
    points: Sequence[Point],
    gain_u: float,
    *,
    common_offset: float = 0.0,
    curvature: float = 0.0,
    rounding: tuple[float, float] = (0.0, 0.0),
) -> Line:
    """Fit the offset alone; the gain is 1 with the relative standard uncertainty ``gain_u`` of the design.

    For points too close together to improve on what the parts' tolerances promise.
    """
    n = len(points)
    offset = math.fsum(p.r - p.y for p in points) / n
    mean_y = math.fsum(p.y for p in points) / n
    residuals = tuple(p.r - p.y - offset for p in points)
    known = [math.hypot(p.u_r, p.u_y, curvature) for p in points]
    parts: tuple[tuple[str, float, float], ...] = (
        ("points: resolution, repeatability, curvature", _rms(known) / math.sqrt(n), 0.0),
        ("reference: zero", common_offset, 0.0),
        ("gain of the design, kept", abs(mean_y) * gain_u, gain_u),
        ("stored with 16 bit", rounding[0], 0.0),
    )
    u_offset = gum.combined([part[1] for part in parts])
    return Line(
        offset, 1.0, u_offset, gain_u, -mean_y * gain_u**2, _rms(residuals), math.inf, residuals, parts
    )  # fmt: skip


def _rms(values: Sequence[float]) -> float:
    return math.sqrt(math.fsum(u * u for u in values) / len(values))


def _scatter(known: Sequence[float], residuals: Sequence[float]) -> tuple[float, float]:
    """Return the standard deviation of a point about the line, and its degrees of freedom."""
    free = len(residuals) - 2
    seen = math.sqrt(math.fsum(r * r for r in residuals) / free) if free else 0.0
    before = _rms(known)
    return (seen, float(free)) if seen > before else (before, math.inf)


def coverage(line: Line) -> float:
    """Return k for about 95 %: Student's t at the effective freedom of the offset (JCGM 100, G.4)."""
    first, *others = (part[1] for part in line.parts)
    freedom = gum.effective_freedom([first, *others], [line.freedom] + [math.inf] * len(others))
    if freedom > 1000:
        return 2.0
    from scipy.stats import t

    return float(t.ppf(0.97725, max(1.0, math.floor(freedom))))

"""The calibration line and its uncertainty: the GUM's own example, and the package ``uncertainties``."""

from __future__ import annotations

import math

import numpy as np
import pytest
from strokebench.calibrate.fit import Line, Point, coverage, fit, fit_zero
from uncertainties import ufloat
from uncertainties.core import AffineScalarFunc

# JCGM 100:2008, table H.6: thermometer readings t and their corrections b, in degrees C
GUM_H3 = (
    (21.521, -0.171), (22.012, -0.169), (22.512, -0.166), (23.003, -0.159), (23.507, -0.164),
    (23.999, -0.165), (24.513, -0.156), (25.002, -0.157), (25.503, -0.159), (26.010, -0.161),
    (26.511, -0.160),
)  # fmt: skip


def test_thermometer_of_the_gum() -> None:
    """H.3.3: y1 = -0.1712, s(y1) = 0.0029, y2 = 0.002 18, s(y2) = 0.000 67, r = -0.930, s = 0.0035."""
    line = fit([Point(t - 20, t - 20 + b) for t, b in GUM_H3])
    assert line.offset == pytest.approx(-0.1712, abs=5e-5)
    assert line.gain - 1 == pytest.approx(0.00218, abs=5e-6)
    assert line.u_offset == pytest.approx(0.0029, abs=5e-5)
    assert line.u_gain == pytest.approx(0.00067, abs=5e-6)
    assert line.covariance / line.u_offset / line.u_gain == pytest.approx(-0.930, abs=5e-4)
    assert line.scatter == pytest.approx(0.0035, abs=5e-5)
    assert line.freedom == 9
    # H.3.4: the predicted correction at 30 C has the standard uncertainty 0.0041
    assert line.u(10) == pytest.approx(0.0041, abs=5e-5)


def uncertain(value: float, u: float) -> AffineScalarFunc | float:
    return ufloat(value, u) if u else value  # the package warns of certain numbers


def by_uncertainties(
    points: list[Point], common_gain: float, common_offset: float, curvature: float
) -> tuple[AffineScalarFunc, AffineScalarFunc]:
    """Offset and gain with every input an uncertain number of its own, the common ones shared."""
    scale, shift = uncertain(1, common_gain), uncertain(0, common_offset)
    ys = [uncertain(p.y, p.u_y) * scale + shift for p in points]
    rs = [uncertain(p.r, math.hypot(p.u_r, curvature)) for p in points]
    n = len(points)
    mean_y, mean_r = sum(ys) / n, sum(rs) / n
    spread = sum((y - mean_y) ** 2 for y in ys)
    gain = sum((y - mean_y) * (r - mean_r) for y, r in zip(ys, rs, strict=True)) / spread
    return mean_r - gain * mean_y, gain


@pytest.mark.parametrize(
    ("ys", "u_y", "u_r", "common"),
    [
        ((-5.0, -2.5, 0.0, 2.5, 5.0), 0.0003, 0.0004, (0.0006, 0.0012)),
        ((9.0, 12.0, 15.0), 0.0003, 0.002, (0.0003, 0.0012)),
        ((0.0, 4.987), 0.0, 0.003, (0.0003, 0.0)),
        ((1.0, 6.0, 12.0, 12.0), 0.02, 0.0, (0.005, 0.01)),
    ],
)
def test_propagation_is_that_of_the_package_uncertainties(
    ys: tuple[float, ...], u_y: float, u_r: float, common: tuple[float, float]
) -> None:
    points = [Point(y, 0.02 + 1.007 * y, u_y, u_r * (1 + i)) for i, y in enumerate(ys)]
    line = fit(points, common_gain=common[0], common_offset=common[1], curvature=0.001)
    offset, gain = by_uncertainties(points, *common, 0.001)
    assert line.offset == pytest.approx(offset.nominal_value, abs=1e-9)
    assert line.gain == pytest.approx(gain.nominal_value, abs=1e-9)
    # theirs of the corrected reading, ours of offset and gain apart: compare where it counts, at readings
    for y in (0.0, 0.5 * ys[-1], ys[-1]):
        corrected = (line.gain * y + line.offset - offset) / gain
        assert line.u(y) == pytest.approx(corrected.std_dev, rel=2e-3), y


def test_uncertainty_of_a_corrected_reading_by_monte_carlo() -> None:
    """JCGM 101: draw every input, fit with numpy, correct a true reading; no derivative, no code of ours."""
    ys, u_y, u_r, common = np.array((-5.0, -2.5, 0.0, 2.5, 5.0)), 0.003, 0.004, (0.0006, 0.0012)
    line = fit([Point(y, y, u_y, u_r) for y in ys], common_gain=common[0], common_offset=common[1])
    rng, draws = np.random.default_rng(7), 20_000
    shared = rng.normal(1, common[0], (draws, 1)), rng.normal(0, common[1], (draws, 1))
    shown = ys * shared[0] + shared[1] + rng.normal(0, u_y, (draws, len(ys)))
    read = ys + rng.normal(0, u_r, (draws, len(ys)))
    middle, level = shown.mean(axis=1, keepdims=True), read.mean(axis=1, keepdims=True)
    gain = ((shown - middle) * (read - level)).sum(axis=1) / ((shown - middle) ** 2).sum(axis=1)
    offset = level[:, 0] - gain * middle[:, 0]
    for y in (0.0, 2.5, 8.0):
        assert line.u(y) == pytest.approx(float(np.std((y - offset) / gain)), rel=0.03), y


def test_zero_alone_against_uncertainties() -> None:
    points = [Point(y, y + 0.05, 0.001, 0.002) for y in (9.0, 11.0, 13.0, 15.0)]
    line = fit_zero(points, 0.003, common_offset=0.001, curvature=0.028)
    gain, shift = ufloat(1, 0.003), ufloat(0, 0.001)
    rs = [ufloat(p.r, math.hypot(p.u_r, 0.028)) for p in points]
    ys = [ufloat(p.y, p.u_y) + shift for p in points]
    offset = sum(r - gain * y for r, y in zip(rs, ys, strict=True)) / 4
    for y in (9.0, 12.0, 15.0):
        corrected = (y + line.offset - offset) / gain
        assert line.u(y) == pytest.approx(corrected.std_dev, rel=2e-3), y


def test_common_errors_are_not_averaged_away() -> None:
    few, many = (
        fit([Point(i * 10 / (n - 1), i * 10 / (n - 1), 0, 0.01) for i in range(n)], common_gain=0.001)
        for n in (2, 200)
    )
    assert many.u_gain == pytest.approx(0.001, rel=0.05)
    assert few.u_gain > 1.5 * many.u_gain


def test_coverage_follows_student() -> None:
    """Student's t for 95.45 %: 2.87 at 4, 2.32 at 9 degrees of freedom (JCGM 100, table G.2)."""
    shape = {"u_offset": 1.0, "u_gain": 0.0, "covariance": 0.0, "scatter": 1.0, "residuals": ()}
    for freedom, k in ((4.0, 2.87), (9.0, 2.32), (math.inf, 2.0)):
        line = Line(0.0, 1.0, freedom=freedom, parts=(("points", 1.0, 0.0),), **shape)  # type: ignore[arg-type]
        assert coverage(line) == pytest.approx(k, abs=0.006)

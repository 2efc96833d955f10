"""Our small statistics against scipy's."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats
from scipy.ndimage import median_filter
from strokebench.diagnose.stats import (
    line,
    repeats,
    robust_line,
    running_median,
    spread,
    t_factor,
)


@pytest.mark.parametrize("freedom", [1, 2, 3, 5, 10, 20, 50])
def test_t_factor_is_students(freedom: int) -> None:
    # 95.45 % two-sided, what 2 u claims; JCGM 100:2008 table G.2; scipy computes it.
    assert 2 * t_factor(freedom) == pytest.approx(stats.t.ppf(0.5 + 0.9545 / 2, freedom), rel=0.005)


def test_repeats_are_the_mean_and_its_widened_error() -> None:
    data = np.random.default_rng(1).normal(5, 2, 6)
    found = repeats(data)
    assert found.value == pytest.approx(data.mean())
    assert found.u == pytest.approx(stats.sem(data) * t_factor(5))
    assert math.isinf(repeats([1.0]).u)
    assert math.isnan(repeats([]).value)


def test_three_repeats_cover_their_mean_as_often_as_is_claimed() -> None:
    """With the factor for 68 % it was 88 of 100."""
    rng = np.random.default_rng(5)
    found = [repeats(rng.normal(0, 1, 3)) for _ in range(4000)]
    assert np.mean([abs(mean.value) <= 2 * mean.u for mean in found]) == pytest.approx(0.9545, abs=0.01)


def test_few_repeats_beside_a_known_uncertainty_cover_too() -> None:
    """Effective degrees of freedom (Welch-Satterthwaite) of both; never far above what is claimed."""
    rng = np.random.default_rng(6)
    for known in (0.3, 1.0, 3.0):
        found = [
            repeats(rng.normal(rng.normal(0, known), 1, 3)).widened(0.6 * known, 0.8 * known)
            for _ in range(3000)
        ]
        assert 0.93 < np.mean([abs(mean.value) <= 2 * mean.u for mean in found]) < 0.985, known


def test_line_is_that_of_linregress() -> None:
    rng = np.random.default_rng(2)
    x = np.linspace(0, 9, 40)
    y = 3 * x - 2 + rng.normal(0, 0.5, 40)
    ours, theirs = line(x, y), stats.linregress(x, y)
    assert ours.slope == pytest.approx(theirs.slope)
    assert ours.offset == pytest.approx(theirs.intercept)
    assert ours.u_slope == pytest.approx(theirs.stderr)
    assert ours.u_offset == pytest.approx(theirs.intercept_stderr)
    with pytest.raises(ValueError, match="3 points"):
        line([1, 1, 1], [1, 2, 3])


def test_robust_line_is_not_pulled_by_outliers() -> None:
    x = np.linspace(0, 10, 60)
    y = 0.5 * x + 1 + np.random.default_rng(3).normal(0, 0.01, 60)
    y[20:26] += 3.0
    assert robust_line(x, y).slope == pytest.approx(0.5, abs=0.005)
    assert abs(line(x, y).slope - 0.5) > 0.005  # the plain one is


def test_running_median_is_scipys_away_from_the_ends() -> None:
    data = np.random.default_rng(5).normal(0, 1, 200)
    assert running_median(data, 9)[4:-4] == pytest.approx(median_filter(data, 9)[4:-4])
    holes = data.copy()
    holes[50:70] = np.nan
    assert np.isnan(running_median(holes, 5)[55:65]).all()
    assert np.isfinite(running_median(holes, 5)[[40, 80]]).all()


def test_robust_spread_is_scipys_scaled_mad() -> None:
    data = np.random.default_rng(6).normal(0, 3, 500)
    assert spread(data) == pytest.approx(stats.median_abs_deviation(data, scale="normal"), rel=1e-4)

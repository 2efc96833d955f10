"""Tolerance factors and the robust spread against published values and against what they promise."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import median_abs_deviation, nct
from strokebench.diagnose.stats import Floats

from tests.reference.tolerance import factor, qn, robust


def classical(values: Floats) -> tuple[Floats, Floats]:
    return values.mean(axis=-1), values.std(axis=-1, ddof=1)


@pytest.mark.parametrize(("count", "published"), [(5, 5.079), (8, 3.732), (10, 3.379), (20, 2.752)])
def test_two_sided_factor_of_mean_and_deviation(count: int, published: float) -> None:
    """The method, given mean and standard deviation, gives the printed two-sided factors for 95 %/95 %.

    Values: exact factors of ISO 16269-6:2014 (Odeh and Owen 1980); n = 5: 5.079 (from memory of the table).
    """
    assert factor(count, True, 0.95, 0.95, classical) == pytest.approx(published, rel=0.02)


@pytest.mark.parametrize("count", [5, 8, 12, 30])
def test_one_sided_factor_is_the_noncentral_t(count: int) -> None:
    """Exact one-sided factor: t'(0.95; n - 1, z_0.95 sqrt n) / sqrt n, by scipy's noncentral t."""
    exact = nct.ppf(0.95, count - 1, 1.6448536 * np.sqrt(count)) / np.sqrt(count)
    assert factor(count, False, 0.95, 0.95, classical) == pytest.approx(exact, rel=0.02)


@pytest.mark.parametrize("count", [5, 8, 13, 40])
def test_robust_limits_hold_what_they_promise(count: int) -> None:
    """On fresh normal parts (another seed) 95 % of the intervals hold at least 95 % of all parts."""
    from scipy.stats import norm

    values = np.random.default_rng(11).normal(20.0, 0.7, (4000, count))
    centre, spread = robust(values)
    reach = factor(count) * spread
    held = norm.cdf(centre + reach, 20.0, 0.7) - norm.cdf(centre - reach, 20.0, 0.7)
    assert 0.94 < float(np.mean(held >= 0.95)) < 0.96


@pytest.mark.parametrize("count", [5, 6, 9, 10, 25, 60])
def test_qn_is_sigma_on_average(count: int) -> None:
    """Croux and Rousseeuw's small-sample corrections make it unbiased, within 2 %."""
    values = np.random.default_rng(5).standard_normal((8000, count))
    assert float(qn(values).mean()) == pytest.approx(1.0, abs=0.02)


def test_qn_is_steadier_than_the_median_deviation_and_as_robust() -> None:
    """Efficiencies 82 % and 37 % (Rousseeuw and Croux 1993) make the ratio of the spreads 0.67."""
    values = np.random.default_rng(6).standard_normal((3000, 60))
    deviation = median_abs_deviation(values, axis=1, scale="normal")
    ratio = (qn(values).std() / qn(values).mean()) / (deviation.std() / deviation.mean())
    assert ratio == pytest.approx(0.67, abs=0.07)
    spoilt = values[:, :12].copy()
    spoilt[:, :4] = 1e6
    assert float(np.median(qn(spoilt))) < 4

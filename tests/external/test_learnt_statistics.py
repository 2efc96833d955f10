"""The statistics of learnt limits against published values, scipy, and what they promise on fresh normal
parts."""

from __future__ import annotations

import math
from collections.abc import Iterable

import numpy as np
import pytest
from scipy import stats
from strokebench.verdict.learning.belonging import strange
from strokebench.verdict.learning.limits import FAMILY, Spread, quantile, share_each, spread_of
from strokebench.verdict.learning.scale import Scale
from strokebench.verdict.learning.sums import Sums, sums_of

from tests.reference.tolerance import factor, robust

NO_PRIOR = Scale("plain", 0.0, 0.0)
LIMITS = 28
"""Limits of a part such as a throttle body."""
PARTS = (3, 5, 10, 20)


@pytest.mark.parametrize(("count", "published"), [(5, 3.04), (10, 2.37), (20, 2.14)])
def test_without_prior_it_is_hahns_prediction_interval(count: int, published: float) -> None:
    """Two-sided 95 % factors for one further observation: Hahn 1969, JASA 64, also Hahn and Meeker's tables
    (from memory of the tables; the formula is that of Berthouex and Brown, Statistics for Environmental
    Engineers, chapter 21)."""
    assert Spread(1.0, count - 1, count).reach(0.025) == pytest.approx(published, abs=0.006)


@pytest.mark.parametrize(("share", "freedom"), [(0.01 / 28, 10.0), (0.025, 4.0), (1e-5, 27.0)])
def test_quantile_is_students(share: float, freedom: float) -> None:
    """Against scipy's distribution function, the other way round."""
    assert stats.t.sf(quantile(share, freedom), freedom) == pytest.approx(share, rel=1e-6)


def test_sums_are_numpys_mean_and_variance_however_they_are_merged() -> None:
    values = np.random.default_rng(1).normal(1e4, 0.01, 40)
    whole = sums_of((float(value), 0.5) for value in values)
    for at in (1, 7, 39):
        pieces = [sums_of((float(value), 0.5) for value in some) for some in (values[:at], values[at:])]
        merged = pieces[0].merged(pieces[1])
        assert (merged.parts, merged.u2) == (40, pytest.approx(0.25))
        assert merged.mean == pytest.approx(values.mean(), rel=1e-14)
        assert merged.spread == pytest.approx(values.std(ddof=1), rel=1e-6)
    assert whole.squares == pytest.approx(40 * values.var(), rel=1e-6)


def test_the_posterior_spread_is_that_of_scipys_inverse_gamma() -> None:
    """A scaled inverse chi-square prior with normal values: the predictive distribution by drawing from
    both."""
    scale, values = Scale("plain", 0.8, 8.0), [0.3, -0.9, 1.4]
    sums = sums_of((value, 0.0) for value in values)
    spread = spread_of(sums, scale)
    rng = np.random.default_rng(2)
    shape, rate = (8.0 + 2) / 2, (8.0 * 0.8**2 + sums.squares) / 2
    variance = stats.invgamma.rvs(shape, scale=rate, size=400_000, random_state=rng)
    fresh = rng.normal(0.0, np.sqrt(variance * (1 + 1 / 3)))
    for share in (0.05, 0.01, 0.002):
        assert np.mean(fresh > spread.reach(share)) == pytest.approx(share, rel=0.1)


MASSES = (199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57)
"""NIST/SEMATECH e-Handbook 1.3.5.17.1, test of Grubbs: G = 2.4687 beyond the critical 2.032 (5 %)."""
ROSNER = (
    -0.25, 0.68, 0.94, 1.15, 1.20, 1.26, 1.26, 1.34, 1.38, 1.43, 1.49, 1.49, 1.55, 1.56,
    1.58, 1.65, 1.69, 1.70, 1.76, 1.77, 1.81, 1.91, 1.94, 1.96, 1.99, 2.06, 2.09, 2.10,
    2.14, 2.15, 2.23, 2.24, 2.26, 2.35, 2.37, 2.40, 2.47, 2.54, 2.62, 2.64, 2.90, 2.92,
    2.92, 2.93, 3.21, 3.26, 3.30, 3.59, 3.68, 4.30, 4.64, 5.34, 5.42, 6.01,
)  # fmt: skip
"""NIST/SEMATECH e-Handbook 1.3.5.17.3 (data of Rosner 1983): 3 outliers at 5 %."""


def named(values: Iterable[float]) -> dict[str, tuple[float, float]]:
    return {str(at): (float(value), 0.0) for at, value in enumerate(values)}


def found_in(values: Iterable[float], risk: float) -> list[float]:
    return [stranger.value for stranger in strange("x", named(values), Sums(), NO_PRIOR, risk)]


def test_one_stranger_as_the_handbooks_test_of_grubbs_finds_it() -> None:
    farthest = max(abs(np.array(MASSES) - np.mean(MASSES))) / np.std(MASSES, ddof=1)
    assert farthest == pytest.approx(2.4687, abs=1e-3), (
        "the handbook's statistic, so the data are the handbook's"
    )
    assert found_in(MASSES, 0.05) == [245.57]
    assert found_in(MASSES[:-1], 0.05) == []


def test_three_strangers_as_the_handbooks_generalised_test_finds_them() -> None:
    left, ratios = np.array(ROSNER), []
    for _ in range(3):
        away = np.abs(left - left.mean())
        ratios.append(float(away.max() / left.std(ddof=1)))
        left = np.delete(left, away.argmax())
    assert ratios == pytest.approx([3.118, 2.942, 3.179], abs=2e-3), "the handbook's, so the data are, too"
    assert found_in(ROSNER, 0.05) == [6.01, 5.42, 5.34]


def test_good_sets_of_parts_are_hardly_ever_pointed_at() -> None:
    rng, scale = np.random.default_rng(4), Scale("plain", 1.0, 8.0)
    for count in PARTS:
        sigma = np.sqrt(8.0 / rng.chisquare(8.0, 1500))
        wrong = sum(
            bool(strange("x", named(rng.normal(0, s, count)), Sums(), scale, 0.01)) for s in sigma
        )  # fmt: skip
        assert wrong / 1500 < 0.02, count


def old_and_new(count: int, sigma: np.ndarray, rng: np.random.Generator) -> tuple[float, float]:
    """Shares of good parts that fail in any of the limits, half of them two-sided: the old way and this one.

    A reading's own standard uncertainty is a fifth of the parts' spread.
    """
    fails = np.zeros((2, len(sigma)), bool)
    two_sided = LIMITS // 4
    for at in range(LIMITS - two_sided):
        both = at < two_sided
        learnt, fresh = rng.normal(0, sigma, (count, len(sigma))), rng.normal(0, sigma)
        u = 0.2 * sigma
        centre, spread = robust(learnt.T)
        old = factor(count, both) * np.maximum(spread, 0.1 * u) + 4 * u
        away = fresh - centre
        fails[0] |= (np.abs(away) if both else away) > old
        squares = ((learnt - learnt.mean(0)) ** 2).sum(0)
        posterior = np.sqrt((8.0 + squares) / (8.0 + count - 1))
        each = share_each(LIMITS)
        new = np.array([
            Spread(s, 8.0 + count - 1, count).reach(each, v) for s, v in zip(posterior, u, strict=True)
        ])  # fmt: skip
        away = fresh - learnt.mean(0)
        fails[1] |= (np.abs(away) if both else away) > new + 2 * u
    return float(fails[0].mean()), float(fails[1].mean())


@pytest.mark.slow
@pytest.mark.parametrize("count", PARTS)
def test_all_limits_together_fail_one_good_part_in_a_hundred(count: int) -> None:
    """95/95 tolerance limits for each of 28 limits failed several in a hundred, however many parts there
    were."""
    rng = np.random.default_rng(count)
    sigma = np.sqrt(8.0 / rng.chisquare(8.0, 3000))
    old, new = old_and_new(count, sigma, rng)
    assert new <= FAMILY
    assert old > FAMILY or count == 3


def test_five_parts_reach_less_far_than_either_tolerance_factor() -> None:
    """At five parts the factor of median and Qn is 8.64, that of mean and deviation 5.08 (ISO 16269-6)."""

    def classical(values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        return values.mean(axis=-1), values.std(axis=-1, ddof=1)

    assert factor(5) == pytest.approx(8.64, abs=0.15)
    assert factor(5, estimator=classical) == pytest.approx(5.08, abs=0.1)
    each = share_each(LIMITS)
    assert Spread(1.0, 8.0 + 4, 5).reach(each) < 5.0, "and all limits together fail one in a hundred"
    assert math.isclose(Spread(1.0, 8.0 + 2, 3).reach(each), stats.t.isf(each, 10) * math.sqrt(4 / 3))

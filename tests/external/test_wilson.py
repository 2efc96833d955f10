"""Wilson score intervals against Newcombe's examples and scipy."""

import pytest
from scipy.stats import binomtest
from strokebench.physics.wilson import wilson_interval

from tests.reference.statistics import clean_trials_bound

# R. G. Newcombe, Statistics in Medicine 17, 1998, 857-872, table I, method 3 (the counts are from memory).
NEWCOMBE = {
    (81, 263): (0.2553, 0.3662),
    (15, 148): (0.0624, 0.1605),
    (0, 20): (0.0, 0.1611),
    (1, 29): (0.0061, 0.1718),
}


@pytest.mark.parametrize("case", NEWCOMBE)
def test_newcombe(case):
    assert wilson_interval(*case) == pytest.approx(NEWCOMBE[case], abs=6e-5)


@pytest.mark.parametrize("case", [(7, 50), (30, 30), (0, 1), (199, 200)])
@pytest.mark.parametrize("confidence", [0.9, 0.95, 0.99])
def test_scipy(case, confidence):
    oracle = binomtest(*case).proportion_ci(confidence, "wilson")
    assert wilson_interval(*case, confidence) == pytest.approx((oracle.low, oracle.high), abs=1e-9)


def test_59_clean_trials_show_95_percent():
    """The 95/95 rule of attribute testing: 59 without a miss (scipy's exact one-sided bound beside it)."""
    oracle = binomtest(59, 59, alternative="greater").proportion_ci(0.95, "exact").low
    assert clean_trials_bound(59) == pytest.approx(oracle, rel=1e-9)
    assert clean_trials_bound(58) < 0.95 < clean_trials_bound(59)


def test_impossible_counts():
    with pytest.raises(ValueError, match="hits"):
        wilson_interval(3, 2)
    with pytest.raises(ValueError, match="at least one"):
        clean_trials_bound(0)

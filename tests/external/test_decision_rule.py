"""Guard-banded verdicts against ISO 14253-1 and the conformance probability of JCGM 106:2012."""

import numpy as np
import pytest
from scipy.stats import norm
from strokebench.data.findings import COVERAGE, Finding, Verdict
from strokebench.verdict.decision import verdict_of

LOWER, UPPER, U = 1.5, 2.1, 0.03
# ISO 14253-1: conform if LSL + U <= y <= USL - U, not conform beyond LSL - U or USL + U, else undecided; the
# coil's 1.5..2.1 ohm with U = 0.06 worked by hand.
CASES = {
    1.40: Verdict.FAIL,
    1.45: Verdict.INCONCLUSIVE,
    1.50: Verdict.INCONCLUSIVE,
    1.55: Verdict.INCONCLUSIVE,
    1.57: Verdict.PASS,
    1.80: Verdict.PASS,
    2.03: Verdict.PASS,
    2.06: Verdict.INCONCLUSIVE,
    2.15: Verdict.INCONCLUSIVE,
    2.17: Verdict.FAIL,
}


def verdict(value, lower=LOWER, upper=UPPER, u=U, k=COVERAGE):
    return verdict_of(Finding("r", "resistance", value, u, "ohm", lower, upper), k).verdict


def conformance(value, lower=LOWER, upper=UPPER, u=U):
    """JCGM 106 7.2: probability that the true value lies inside the limits, normal distribution."""
    return norm.cdf((upper - value) / u) - norm.cdf((lower - value) / u)


@pytest.mark.parametrize("value", CASES)
def test_iso_14253_1_table(value):
    assert verdict(value) is CASES[value]


def test_a_pass_means_97_7_percent_and_a_fail_2_3_percent():
    """Guard band 2 u against one limit: norm.cdf(2) = 0.977 (ILAC-G8:2019: about 2.5 % false accept)."""
    for value in np.linspace(1.3, 2.3, 2001):
        chance, found = conformance(value), verdict(value)
        if found is Verdict.PASS:
            assert chance >= norm.cdf(2) - 1e-9
        elif found is Verdict.FAIL:
            assert chance <= norm.cdf(-2) + 1e-9
        else:
            assert norm.cdf(-2) - 1e-9 < chance < norm.cdf(2) + 1e-9


def test_false_accept_and_false_reject_by_simulation():
    """A part exactly on its limit is passed, or failed, by chance in norm.cdf(-2) = 2.3 % of cases."""
    readings = np.random.default_rng(14253).normal(UPPER, U, 20_000)
    found = [verdict(value) for value in readings]
    assert found.count(Verdict.PASS) / len(found) == pytest.approx(norm.cdf(-2), abs=0.004)
    assert found.count(Verdict.FAIL) / len(found) == pytest.approx(norm.cdf(-2), abs=0.004)


def test_one_sided_limits():
    assert verdict(2.03, lower=None) is Verdict.PASS
    assert verdict(-5.0, lower=None) is Verdict.PASS
    assert verdict(1.57, upper=None) is Verdict.PASS
    assert verdict(1.43, upper=None) is Verdict.FAIL


def test_too_large_an_uncertainty_can_pass_nothing():
    """JCGM 106: when U exceeds half the tolerance the acceptance interval is empty."""
    assert {verdict(value, u=0.2) for value in np.linspace(1.5, 2.1, 61)} == {Verdict.INCONCLUSIVE}


def test_narrower_guard_of_older_practice():
    """One-sided 95 % (k = 1.645) decides more cases than k = 2, never fewer."""
    assert verdict(2.05, k=1.645) is Verdict.PASS
    assert verdict(2.05) is Verdict.INCONCLUSIVE

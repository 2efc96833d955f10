"""JCGM 100:2008 worked examples, through our propagation and the `uncertainties` package side by side."""

import math
from statistics import NormalDist, mean, stdev

import numpy as np
import pytest
import uncertainties
from scipy import stats
from strokebench.physics import gum
from uncertainties import umath

from tests.reference import statistics

# Annex H.2 table H.2: five simultaneous observations of V in V, I in mA, phase in rad (from memory).
VOLTS = [5.007, 4.994, 5.005, 4.990, 4.999]
MILLIAMPS = [19.663, 19.639, 19.640, 19.685, 19.678]
PHASE = [1.0456, 1.0438, 1.0468, 1.0428, 1.0433]
IMPEDANCE = {
    "R": (lambda v, i, p: v / i * math.cos(p), lambda v, i, p: v / i * umath.cos(p), 127.732, 0.071),
    "X": (lambda v, i, p: v / i * math.sin(p), lambda v, i, p: v / i * umath.sin(p), 219.847, 0.295),
    "Z": (lambda v, i, p: v / i, lambda v, i, p: v / i, 254.260, 0.236),
}


@pytest.fixture
def h2():
    rows = np.array([VOLTS, np.array(MILLIAMPS) * 1e-3, PHASE])
    return rows.mean(axis=1), np.cov(rows) / len(VOLTS), np.corrcoef(rows)


@pytest.mark.parametrize("name", IMPEDANCE)
def test_h2_simultaneous_resistance_and_reactance(h2, name):
    means, covariance, correlation = h2
    ours, theirs, published, published_u = IMPEDANCE[name]
    value, u = statistics.propagate(ours, list(means), list(np.sqrt(np.diag(covariance))), correlation)
    oracle = theirs(*uncertainties.correlated_values(means, covariance))
    assert (value, u) == pytest.approx((oracle.n, oracle.s), rel=1e-5)
    assert value == pytest.approx(published, abs=1.1e-3)
    assert u == pytest.approx(published_u, abs=6e-4)


@pytest.mark.parametrize("name", ["R", "Z"])
def test_h2_correlations_enter_the_combined_uncertainty(name):
    """Table H.3's coefficients -0.36, 0.86, -0.65 and the sensitivities by hand (H.2.3, method 1)."""
    *_, value, published_u = IMPEDANCE[name]
    of_volts, of_amps = value * 0.0032 / 4.9990, -value * 0.0095 / 19.6610
    of_phase = -219.847 * 0.00075 if name == "R" else 0.0
    correlations = [[1, -0.36, 0.86], [-0.36, 1, -0.65], [0.86, -0.65, 1]]
    u = gum.combined([of_volts, of_amps, of_phase], correlations)
    assert u == pytest.approx(published_u, abs=1.5e-3)
    assert (
        abs(gum.combined([of_volts, of_amps, of_phase]) - published_u) > 0.02
    )  # as if they were independent


def end_gauge(ls, d, dalpha, theta, alpha, dtheta):
    return ls + d - ls * (dalpha * theta + alpha * dtheta)


def test_h1_end_gauge():
    """Annex H.1 in nm: uc = 32 nm, nu_eff = 16, U99 = 93 nm (32 x 2.92; unrounded 92.5)."""
    d_parts, d_freedom = [13 / math.sqrt(5), 3.9, 6.7], [24, 5, 8]
    values = [50_000_623, 215, 0.0, -0.1, 11.5e-6, 0.0]
    u = [25, math.hypot(*d_parts), gum.rectangular(1e-6), 0.41, 1.2e-6, gum.rectangular(0.05)]
    value, uc = statistics.propagate(end_gauge, values, u)
    assert value == pytest.approx(50_000_838)
    assert uc == pytest.approx(32, abs=0.5)
    freedom = gum.effective_freedom([25, *d_parts, 2.9, 16.6], [18, *d_freedom, 50, 2])
    assert math.floor(freedom) == 16
    assert uc * stats.t.ppf(0.995, 16) == pytest.approx(93, abs=1)
    assert uc == pytest.approx(oracle_h1(values, u), rel=1e-4)


def oracle_h1(values, u):
    return end_gauge(*(uncertainties.ufloat(n, s) for n, s in zip(values, u, strict=True))).s


def test_resistance_from_a_volt_and_an_ampere_reading():
    value, u = statistics.propagate(lambda v, i: v / i, [3.0, 1.5], [0.010, 0.012])
    oracle = uncertainties.ufloat(3.0, 0.010) / uncertainties.ufloat(1.5, 0.012)
    assert (value, u) == pytest.approx((oracle.n, oracle.s), rel=1e-6)


def test_correlated_gain_cancels_in_a_ratio():
    """GUM F.1.2.4: a fully correlated relative error of numerator and denominator drops out."""
    _, u = statistics.propagate(lambda a, b: a / b, [3.0, 2.0], [0.03, 0.02], [[1, 1], [1, 1]])
    assert u == pytest.approx(0, abs=1e-9)


def test_type_a_of_the_mean_and_rectangular_limits():
    """GUM 4.2.3 and 4.3.7, against a simulated rectangle."""
    assert stdev(VOLTS) / math.sqrt(5) == pytest.approx(0.0032, abs=5e-5)
    assert mean(VOLTS) == pytest.approx(4.9990)
    flat = np.random.default_rng(1).uniform(-2, 2, 200_000)
    assert gum.rectangular(2) == pytest.approx(flat.std(), rel=5e-3)


def test_one_exact_contribution_has_endless_freedom():
    assert gum.effective_freedom([1.0, 0.5], [math.inf, math.inf]) == math.inf
    assert NormalDist().inv_cdf(0.975) == pytest.approx(stats.t.ppf(0.975, 1e9), rel=1e-6)

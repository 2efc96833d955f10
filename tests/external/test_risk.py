"""Risks of a verdict against worked examples from outside."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import norm
from strokebench.data.findings import Finding
from strokebench.verdict.risk import Risk, area, conformance, joint, risk_of, risk_of_run, sentence


def test_zener_diode_of_jcgm_106() -> None:
    # JCGM 106:2012, clause 7, one-sided (from memory): Vb <= -5.40 V, measured -5.47 V, u = 0.05 V: 92 %
    assert conformance(-5.47, 0.05, None, -5.40) == pytest.approx(0.92, abs=0.005)


def test_motor_oil_of_jcgm_106() -> None:
    # JCGM 106:2012, clause 7 (from memory): SAE 40 is 12.5 to 16.3 mm2/s; measured 13.6, u = 1.8: 66 %
    assert conformance(13.6, 1.8, 12.5, 16.3) == pytest.approx(0.66, abs=0.005)


def normal_prior(spread: float, u: float, limit: float, guard: float) -> Risk:
    """The two-way rule of JCGM 106, 9.5.3: what does not pass is rejected."""
    true = np.linspace(-10 * spread, 10 * spread, 40_001)
    density = norm.pdf(true / spread) / spread
    passes = norm.cdf((limit - guard - true) / u) - norm.cdf((-limit + guard - true) / u)
    found = joint(true, density, u, -limit, limit, guard)
    good = np.abs(true) <= limit
    return Risk(area((1 - passes) * good * density, true), found.bad_passes)


@pytest.mark.parametrize(
    ("spread", "u", "limit", "guard", "accepted", "rejected"),
    [
        # D. Deaver, "How to maintain confidence", limits at 2 sigma; as quoted by the tests of Sandia's open
        # uncertainty calculator (github.com/sandialabs/suncal)
        (4.0, 1.0, 8.0, 0.0, 0.008, 0.015),
        (1.0, 0.5, 2.0, 2 * 0.09, 0.008, 0.066),
    ],
)
def test_global_risks_of_deaver(
    spread: float, u: float, limit: float, guard: float, accepted: float, rejected: float
) -> None:
    found = normal_prior(spread, u, limit, guard)
    assert found.bad_passes == pytest.approx(accepted, abs=5e-4)
    assert found.good_fails == pytest.approx(rejected, abs=1e-3)


@pytest.mark.parametrize(("lower", "upper"), [(1.5, 2.1), (None, 2.0), (1.0, None)])
def test_risks_of_a_finding_by_drawing_parts_from_the_stated_prior(
    lower: float | None, upper: float | None
) -> None:
    rng, u = np.random.default_rng(106), 0.05
    width = upper - lower if lower is not None and upper is not None else (upper or lower or 0.0)
    low, high = (-np.inf if lower is None else lower), (np.inf if upper is None else upper)
    start, stop = (upper - width if lower is None else lower), (lower + width if upper is None else upper)
    good = rng.uniform(start, stop, 2_000_000)
    bad = (
        rng.uniform(stop, stop + width, 2_000_000) if upper is not None else rng.uniform(0, start, 2_000_000)
    )
    reading = rng.normal(good, u)
    fails = np.mean((reading < low - 2 * u) | (reading > high + 2 * u))
    reading = rng.normal(bad, u)
    passes = np.mean((reading > low + 2 * u) & (reading < high - 2 * u))
    found = risk_of(Finding("r", "R", 1.8, u, "ohm", lower, upper))
    assert found is not None
    assert found.good_fails == pytest.approx(fails, rel=0.1)
    assert found.bad_passes == pytest.approx(passes, rel=0.1)


def test_a_run_adds_up_false_alarms_and_takes_the_worst_miss() -> None:
    tight, loose = Finding("a", "A", 1.0, 0.1, "V", 0.5, 1.5), Finding("b", "B", 1.0, 0.01, "V", 0.5, 1.5)
    first, second = risk_of(tight), risk_of(loose)
    assert first is not None and second is not None
    both = risk_of_run([tight, loose, Finding("c", "C", 1.0, 0.1, "V")])
    assert both.good_fails == pytest.approx(first.good_fails + second.good_fails, rel=1e-2)
    assert both.bad_passes == first.bad_passes > second.bad_passes
    assert "prior" in sentence([tight]) and not sentence([Finding("c", "C", 1.0, 0.1, "V")])

"""Bench, part and repeat told apart, against a published example of just this kind: casks nested in batches.

Strength of a chemical paste, ten deliveries (batches), three casks of each, two analyses of each cask: Davies
and Goldsmith (1972), Statistical Methods in Research and Production, 4th ed., p. 136; the data set Pastes of
R's lme4. Its fit by restricted maximum likelihood, as lme4 prints it: variances 1.657 between batches, 8.434
between casks, 0.678 between analyses, mean 60.0533.
"""

from __future__ import annotations

from collections.abc import Callable

import pytest
from strokebench.lake.readings import Column, column
from strokebench.lake.spreads import Spreads, by_model, by_moments, tallies
from strokebench.verdict.learning.scale import Scale

PASTES = """62.8 62.6 60.1 62.3 62.7 63.1  60 61.4 57.5 56.9 61.1 58.9  58.7 57.5 63.9 63.1 65.4 63.7
57.1 56.4 56.9 58.6 64.7 64.5  55.1 55.1 54.7 54.2 58.8 57.5  63.4 64.9 59.3 58.1 60.5 60
62.5 62.6 61 58.7 56.9 57.7  59.2 59.4 65.2 66 64.8 64.1  54.8 54.8 64 64 57.7 56.8
58.3 59.3 59.2 59.2 58.9 56.6"""
"""Six analyses of each batch, two of each cask."""


def pastes() -> Column:
    values = [float(word) for word in PASTES.split()]
    readings = [(f"batch {n // 6}", f"cask {n // 2}", 0.0, value, 0.1) for n, value in enumerate(values)]
    assert len(readings) == 60
    return column("strength", "%", Scale("plain", 1.0, 8.0), readings)


@pytest.mark.parametrize("how", [by_model, lambda each: by_moments(tallies(each))], ids=["model", "moments"])
def test_the_published_example(how: Callable[[Column], Spreads]) -> None:
    if how is by_model:
        pytest.importorskip("statsmodels", reason="the extra `fleet` is not installed")
    found = how(pastes())
    assert (found.benches, found.parts, found.runs) == (10, 30, 60)
    assert found.mean == pytest.approx(60.0533, abs=5e-5)
    assert (found.bench**2, found.part**2, found.repeat**2) == pytest.approx((1.657, 8.434, 0.678), abs=2e-3)

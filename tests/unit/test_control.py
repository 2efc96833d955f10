"""A golden part's charts: their run length with few reference runs, and a warning before verdicts change."""

from __future__ import annotations

import numpy as np
import pytest
from strokebench.data.charts import FEWEST
from strokebench.verdict.control.chart import RUN_LENGTH, charts
from strokebench.verdict.control.ewma import averages, run_length, width_for
from strokebench.verdict.learning.scale import Scale
from tools.evidence.fleet.tried import waits

LOG = Scale("log", 0.05, 8.0)


def readings(values: np.ndarray, u: float) -> list[dict[str, tuple[float, float]]]:
    """Return runs with findings "a", "b" ... of these values, shape (runs, findings)."""
    return [{chr(97 + n): (float(value), u) for n, value in enumerate(row)} for row in values]


def test_the_run_length_by_monte_carlo() -> None:
    """Mean and spread known: one chart, 2000 times, within three standard errors of a wait's mean."""
    weight, length = 0.2, 50.0
    edge = width_for(weight, length) * np.sqrt(weight / (2 - weight))
    chance = np.random.default_rng(8)
    average, waits, alive = np.zeros(2000), np.zeros(2000), np.ones(2000, dtype=bool)
    while alive.any():
        average += weight * (chance.normal(size=2000) - average)
        waits += alive
        alive &= np.abs(average) <= edge
    assert np.mean(waits) == pytest.approx(
        run_length(weight, width_for(weight, length)), rel=3 / np.sqrt(2000)
    )


@pytest.mark.parametrize("reference", [FEWEST, 20, 40])
def test_few_reference_runs_do_not_shorten_the_run_length(reference: int) -> None:
    """Nine findings: half of the benches go on for 500 runs, and hardly any signals within 50 of them."""
    found = waits(reference, 9, 0.0, times=300, most=int(RUN_LENGTH), seed=reference)
    assert np.median(found) >= 0.9 * RUN_LENGTH
    assert np.mean(found < 50) < 0.12
    assert np.median(waits(reference, 9, 3.0, times=100, most=100, seed=reference)) <= 5, (
        "three spreads are seen at once"
    )


@pytest.mark.parametrize("towards", [-1.0, 1.0])
def test_a_warning_comes_before_verdicts_change(towards: float) -> None:
    """A bench drifts until its readings are off by a verdict's guard band, 2 u; repeats spread by u / 3."""
    u, early = 0.01, 0
    for seed in range(40):
        chance = np.random.default_rng(seed)
        values = chance.normal(3.0, u / 3, size=(80, 6))
        drift = towards * 2 * u * np.clip((np.arange(80) - 20) / 40, 0, None)
        runs = readings(values + drift[:, None] * np.array([1, 1, 0, 0, 0, 0]), u)
        scales = {chr(97 + n): LOG for n in range(6)}
        first = next(n for n in range(21, 81) if any(chart.signals for chart in charts(runs[:n], scales)))
        early += (
            abs(drift[first - 1]) < 2 * u
            and max(c.of_guard_band for c in charts(runs[:first], scales) if c.signals) < 1
        )
    assert early >= 38


def test_what_is_charted() -> None:
    scales = {"a": LOG, "b": LOG, "z": Scale("zero", 0.2, 8.0)}
    runs = readings(np.random.default_rng(1).normal(3.0, 0.01, size=(30, 2)), 0.02)
    runs = [{**run, "z": (0.0, 0.1)} for run in runs]
    found = charts(runs, scales)
    assert [chart.key for chart in found] == ["a", "b"] and len(found[0].average) == 10
    assert charts(runs[: FEWEST - 1], scales) == []
    assert [chart.key for chart in charts([*runs[:5], {"a": (3.0, 0.1)}, *runs[5:]], scales)] == ["a"]
    assert np.allclose(averages(np.array([1.0, 1.0]), 0.2), [0.2, 0.36])

"""A charger on the battery is seen at rest; the part's own noise and a recovering battery are no charger."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from strokebench.bench.spec import SimSpec
from strokebench.data.findings import Verdict
from strokebench.data.run import Mark, RunData
from strokebench.data.samples import empty
from strokebench.diagnose import charger
from strokebench.diagnose.case import Case
from strokebench.parts import load_part
from strokebench.sim.trials import conditions, stroke
from strokebench.verdict.bench_fit import bench_troubles
from strokebench.verdict.examine import examine

PART = load_part("solenoid")


def resting(volts: np.ndarray) -> Case:
    samples = empty(len(volts))
    samples["time_s"] = np.arange(len(volts)) * 1e-3
    samples["supply_v"] = volts
    run = RunData(samples=samples, marks=[Mark("rest", 0.0, len(volts) * 1e-3, 0, "pause")])
    return Case(run, PART)


@pytest.mark.parametrize("hz", [50.0, 60.0, 99.5, 100.0, 120.6])
def test_a_ripple_of_known_size_is_measured(hz: float) -> None:
    time_s = np.arange(500) * 1e-3
    noise = np.random.default_rng(1).normal(0, 0.01, 500)
    (found,) = charger.find(resting(12.6 + 0.4 * np.sin(2 * np.pi * hz * time_s + 1) + noise))
    assert found.value == pytest.approx(0.8, abs=2 * found.u + 0.01) and found.fault == "charger_ripple"


def test_a_charger_is_told_from_noise() -> None:
    """A motor's current is freed of a charger's ripple only where there is a charger."""
    time_s, seen = np.arange(500) * 1e-3, []
    for seed in range(40):
        noise = np.random.default_rng(seed).normal(0, 0.01, 500)
        quiet = charger.ripple_at_rest(resting(12.6 + noise))
        ripple = charger.ripple_at_rest(resting(12.6 + 0.03 * np.sin(2 * np.pi * 120 * time_s) + noise))
        assert isinstance(quiet, charger.Ripple) and isinstance(ripple, charger.Ripple)
        seen.append((quiet.there, ripple.there))
    assert seen == [(False, True)] * 40


def test_noise_and_a_battery_that_recovers_are_no_ripple() -> None:
    noise = np.random.default_rng(2).normal(0, 0.02, 500)
    (found,) = charger.find(resting(12.6 + np.linspace(0, 0.3, 500) + noise))
    assert found.value < 0.02 and found.upper == 0.5


def test_without_a_rest_it_is_unknown() -> None:
    (found,) = charger.find(resting(np.full(60, 12.6)))
    assert not found.known and "too short" in found.reason


def test_a_charger_makes_the_run_inconclusive_and_names_the_bench() -> None:
    spec = replace(conditions("solenoid", 405, (), SimSpec()), bench_faults=("ripple=1.0",))
    run, profile, _ = stroke(spec)
    findings, verdict = examine(run, profile)
    assert verdict is Verdict.INCONCLUSIVE and bench_troubles(findings) == ["charger_ripple"]
    value = next(each.value for each in findings if each.key == "supply_ripple")
    assert value == pytest.approx(1.0, abs=0.05)

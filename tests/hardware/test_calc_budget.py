"""The default uncertainties, their derivation, and published worked examples of such budgets."""

import dataclasses
import math
import random
import statistics

import pytest
from strokebench.bench import budget

from hardware.calc import budget as derived
from hardware.calc import design, sense


@pytest.mark.parametrize("name", budget.default_budget())
def test_table_equals_its_derivation_to_two_digits(name):
    channel = budget.default_budget()[name]
    expected = derived.channels()[name].standard()
    found = (channel.offset, channel.gain, channel.linearity, channel.noise)
    assert found == tuple(float(f"{value:.2g}") for value in expected)


def test_every_derived_channel_is_in_the_table():
    assert set(budget.default_budget()) == set(derived.channels())


def test_offset_of_the_amplifier_as_current():
    """TI support forum thread 1204436 (INA241A): 20 uV into 1 mOhm is 20 mA, 8 uV is 8 mA."""
    assert sense.offset_a(20e-6, 1e-3) == pytest.approx(0.020)
    assert sense.offset_a(8e-6, 1e-3) == pytest.approx(0.008)


def test_monte_carlo_of_the_fine_range():
    """JCGM 101 in small: draw every limit as a rectangle, the spread must be what the budget says."""
    draw, parts = random.Random(3), derived.current(design.FINE_GAIN, derived.EXTERNAL)
    flat = [*parts.zero, *parts.linearity, *(5.0 * g for g in parts.gain)]
    noise = math.hypot(*parts.noise)
    errors = [sum(draw.uniform(-h, h) for h in flat) + draw.gauss(0, noise) for _ in range(20_000)]
    assert statistics.stdev(errors) == pytest.approx(
        budget.budget().channel_of("current_a", 5.0).u(5.0), rel=0.03
    )


def test_current_picks_the_range():
    mine = budget.budget()
    assert mine.channel_of("current_a", -2.0) is mine.channels["current_fine_a"]
    assert mine.channel_of("current_a", 30.0) is mine.channels["current_coarse_a"]
    assert sense.full_scale_a(design.SHUNT_OHM, design.FINE_GAIN) > mine.fine_limit_a


def test_averaging_touches_only_the_noise():
    channel = budget.Channel(offset=0.0, gain=0.0, linearity=0.0, noise=0.1)
    assert channel.u(5, 100) == pytest.approx(0.01)
    still = budget.Channel(offset=0.3, gain=0.01, linearity=0.4, noise=0.0)
    assert still.u(0, 10_000) == pytest.approx(0.5)


def test_a_custom_table_is_used_and_the_default_stays():
    table = budget.default_budget()
    table["supply_v"] = dataclasses.replace(table["supply_v"], offset=0, gain=0)
    mine = dataclasses.replace(budget.budget(), channels=table)
    assert mine.channel_of("supply_v", 12).u(12) < 0.03 < budget.budget().channel_of("supply_v", 12).u(12)
    assert budget.default_budget()["supply_v"].gain == 0.0031


@pytest.mark.parametrize("name", budget.default_budget())
def test_the_small_benchs_table_is_that_of_its_shunt(name):
    """Derived anew from 10 mOhm: offsets and noise in amperes fall with the shunt, tolerances do not."""
    channel = budget.budget(10).channels[name]
    expected = derived.channels(shunt_ohm=0.010)[name].standard()
    found = (channel.offset, channel.gain, channel.linearity, channel.noise)
    assert found == pytest.approx(expected, rel=0.06)  # the table has two digits


def test_the_bench_of_a_recording_decides():
    small = budget.budget_of({"identity": {"board": "small bench"}})
    assert small.fine_limit_a == pytest.approx(0.64) and small == budget.budget(10)
    assert sense.full_scale_a(0.010, design.FINE_GAIN) > small.fine_limit_a
    assert budget.budget_of({}) == budget.budget_of({"identity": {"board": "board 9"}}) == budget.budget()


def test_wrong_questions_are_refused():
    with pytest.raises(KeyError, match="not a measured column"):
        budget.budget().channel_of("drive", 0.5)
    with pytest.raises(ValueError, match="at least one"):
        budget.budget().channel_of("supply_v", 12).u(12, samples=0)

"""Thermistor law against published tables."""

import pytest
from strokebench.physics import ntc

from tests.reference import materials

# Zephyr project, devicetree binding for a generic NTC: 10k, B25/85 3974 (read there).
ZEPHYR_3974 = {5: 26075, 15: 15881, 35: 6488, 45: 4326, 55: 2956, 85: 1072, 105: 596, 125: 351}
# A maker's table of a 10k B25/85 3435 K probe (from memory): real parts bend away from one beta.
PROBE_3435 = {-20: 67770, 0: 27280, 50: 4160, 60: 3020, 85: 1451, 100: 973.1}


@pytest.mark.parametrize("celsius", ZEPHYR_3974)
def test_published_table(celsius):
    assert ntc.resistance_ohm(celsius, 3974) == pytest.approx(ZEPHYR_3974[celsius], rel=5e-3)


@pytest.mark.parametrize("celsius", [-40, 0, 25, 60, 125])
def test_inverse(celsius):
    assert ntc.temperature_c(ntc.resistance_ohm(celsius, 3950), 3950) == pytest.approx(celsius, abs=1e-9)


def test_one_beta_error_of_a_real_probe_is_what_the_budget_assumes():
    """Between 25 and 85 C the one-beta law is within 0.6 K of the table; at -20 C it is 2.5 K off."""
    beta = materials.beta_between(25, 10000, 85, PROBE_3435[85])
    assert beta == pytest.approx(3435, abs=2)
    errors = {at: ntc.temperature_c(ohm, beta) - at for at, ohm in PROBE_3435.items()}
    assert errors[50] == pytest.approx(-0.43, abs=0.05)
    assert errors[100] == pytest.approx(0.58, abs=0.05)
    assert errors[-20] == pytest.approx(2.5, abs=0.1)


def test_slope_at_25_c():
    """-B/T^2 is -4.4 %/K for B 3950 (every 10k/3950 data sheet prints about that)."""
    assert ntc.slope_per_k(25, 3950) == pytest.approx(-0.0444, abs=1e-4)
    numeric = ntc.resistance_ohm(25.005, 3950) - ntc.resistance_ohm(24.995, 3950)
    assert numeric / 0.01 / 10000 == pytest.approx(ntc.slope_per_k(25, 3950), rel=1e-4)


def test_divider_of_the_bench():
    """4.7k from 3.3 V over 10k: Ohm's law gives 2.245 V at 25 C."""
    assert 3.3 * ntc.divider_ratio(10_000, 4700) == pytest.approx(2.2449, abs=1e-4)


def test_zero_ohm_is_refused():
    with pytest.raises(ValueError, match="positive"):
        ntc.temperature_c(0.0, 3950)

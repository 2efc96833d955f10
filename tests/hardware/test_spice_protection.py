"""Short circuit, regeneration, reversed supply, opening the main switch."""

import pytest

from hardware.calc import bulk, design, trip
from hardware.spice import runner

pytestmark = pytest.mark.skipif(not runner.available(), reason="ngspice is not installed")
FET_PULSE_A = 400.0
"""Pulsed drain current of the FET class, from memory (data sheet, silicon limited)."""


@pytest.fixture(scope="module")
def short():
    return runner.run("trip")


@pytest.fixture(scope="module")
def regen():
    return runner.run("regen")


def test_trip_is_faster_than_the_calculation_allows(short):
    """Lower bound: the delays that nobody can undercut; upper bound: hardware.calc.trip."""
    fixed_s = trip.FILTER_S + trip.COMPARATOR_S + trip.PIO_S + trip.DRIVER_S
    late_s = trip.delay_s(design.HARD_TRIP_A)
    assert fixed_s * 1e6 < short["late_us"] < late_s * 1e6
    most = design.HARD_TRIP_A + trip.overshoot_a(design.SUPPLY_V, trip.LEAD_SHORT_H, late_s)
    assert design.HARD_TRIP_A < short["peak_a"] < most


def test_short_ends_safely(short):
    assert short["end_a"] == pytest.approx(0, abs=0.1)
    assert max(short["vds_high_v"], short["vds_low_v"]) < 0.75 * design.BRIDGE_FET.rating_v


def test_short_at_the_terminals_stays_within_the_fets_pulse_limit():
    """10 cm instead of 1 m of leads: 120 A/us, so the delay decides."""
    assert runner.run("trip", lead_h=100e-9, lead_r=5e-3)["peak_a"] < FET_PULSE_A / 2


def test_a_slow_comparator_shows():
    assert runner.run("trip", compdelay=10e-6)["peak_a"] > 100


def test_brake_chopper_holds_the_bus(regen):
    on_v, off_v = bulk.brake_thresholds_v()
    assert off_v < regen["bus_max_v"] < on_v + 0.5
    assert regen["brake_peak_a"] == pytest.approx(on_v / design.BRAKE_OHM, rel=0.03)


def test_without_the_chopper_the_bus_is_pumped():
    result = runner.run("regen", brake_on=99)
    most = bulk.pumped_to_v(design.BULK_F, design.SUPPLY_V, result["rotor_j"])
    assert bulk.overvoltage_latch_v() < result["bus_max_v"] < most


def test_a_weak_brake_resistor_is_not_enough():
    assert runner.run("regen", brake_r=10)["bus_max_v"] > bulk.overvoltage_latch_v()


def test_energy_adds_up(regen):
    """What the rotor loses is found in brake, capacitors and copper."""
    found = regen["brake_j"] + regen["bulk_j"] + regen["copper_j"]
    assert found == pytest.approx(regen["rotor_j"], rel=0.02)


@pytest.mark.parametrize("supply_v", [-14, -24])
def test_reversed_supply_reaches_nothing(supply_v):
    result = runner.run("reverse", vsup=supply_v)
    assert result["bus_min_v"] > -0.3
    assert result["input_max_a"] < 0.1
    assert result["vds_max_v"] == pytest.approx(-supply_v, abs=0.5)


def test_reversed_supply_with_the_blocking_fet_held_on():
    """What the deck would show if the controller failed: negative bus, a surge at the input."""
    result = runner.run("reverse", gate_v=10)
    assert result["bus_min_v"] < -0.5
    assert result["input_max_a"] > 5


def test_right_polarity_charges_the_bus():
    result = runner.run("reverse", vsup=14, gate_v=10)
    gone = 0.098 / (design.PRECHARGE_OHM * design.BULK_F)
    assert result["bus_end_v"] == pytest.approx(14 * (1 - 2.718281828**-gone), rel=0.03)


def test_main_switch_may_open_at_full_current():
    result = runner.run("mainswitch")
    peak_v = bulk.opened_peak_v(14, design.CURRENT_A, bulk.CABLE_H, bulk.INPUT_F)
    assert result["vin_max_v"] == pytest.approx(peak_v, rel=0.05)
    assert peak_v < 40
    assert result["standing_ma"] < 1
    assert result["tvs_mj"] < 10


def test_neither_capacitor_nor_suppressor_would_be_destructive():
    assert runner.run("mainswitch", clocal=100e-9, tvs_bv=500)["vin_max_v"] > 100


def test_a_15_v_suppressor_would_burn_on_a_24_v_supply():
    assert runner.run("mainswitch", tvs_bv=16.7, tvs_ohm=0.126)["standing_ma"] > 10_000

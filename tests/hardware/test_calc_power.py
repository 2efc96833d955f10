"""Bulk capacitors, leads, fuse, gate drive, trip and board copper against published figures."""

import numpy as np
import pytest
from scipy import integrate
from strokefw.tick import check

from hardware.calc import board, bulk, design, gate, leads, sense, trip
from tests.reference import chopper


def test_capacitor_ripple_against_the_waveform():
    """Oracle: the current is I - DI while on, -DI while off; its RMS by numerical integration."""
    for duty in (0.1, 0.5, 0.8):
        on, off = 40 * (1 - duty), -40 * duty
        wave = np.where(np.arange(100_000) < duty * 100_000, on, off)
        assert bulk.ripple_rms_a(40, duty) == pytest.approx(np.sqrt(np.mean(wave**2)), rel=1e-4)
        assert np.mean(wave) == pytest.approx(0, abs=1e-3)


def test_bus_ripple_against_the_charge_swing():
    swing, _ = integrate.quad(lambda t: 40 - 0.5 * 40, 0, 0.5 / 20e3)
    assert bulk.ripple_v(40, 0.5, 4.4e-3, 20e3) == pytest.approx(swing / 4.4e-3)


def test_energies():
    """Textbook energies: the rotor's 3.6 J would pump 4.4 mF from 12 V to 42 V."""
    assert bulk.rotor_j(2e-5, 600) == pytest.approx(3.6)
    assert bulk.pumped_to_v(4.4e-3, 12, 3.6) == pytest.approx(42.2, abs=0.1)
    assert bulk.stored_j(4.4e-3, 12, bulk.pumped_to_v(4.4e-3, 12, 3.6)) == pytest.approx(3.6)
    assert bulk.boost_v(8, 0.25) == 32
    assert bulk.cable_j(2e-6, 40) == pytest.approx(1.6e-3)
    peak_v = bulk.opened_peak_v(14, 40, 2e-6, 20e-6)
    assert bulk.stored_j(20e-6, 0, peak_v - 14) == pytest.approx(bulk.cable_j(2e-6, 40))


def test_precharge_is_over_within_the_firmwares_patience():
    """RC: 90 % after 2.303 tau, within the self-test's own limit."""
    seconds = bulk.charge_time_s(design.PRECHARGE_OHM, design.BULK_F, 0.9)
    assert seconds == pytest.approx(2.3026 * design.PRECHARGE_OHM * design.BULK_F, rel=1e-4)
    assert seconds < check.CHARGE_TICKS / 1000
    assert design.SUPPLY_V / design.PRECHARGE_OHM < 0.5


def test_brake_holds_the_bus_below_the_capacitors():
    """The chopper must sink more than a 9 A regeneration, else the bus goes on rising."""
    on_v, off_v = bulk.brake_thresholds_v()
    assert off_v / design.BRAKE_OHM > 9
    assert design.SUPPLY_MAX_V < off_v < on_v < bulk.overvoltage_latch_v() < 35


def test_brake_thresholds_against_nodal_equations():
    """Oracle: the comparator node by Kirchhoff for a low output (about to switch on), then a high one."""
    reference = 3.3 * 9940 / 11740
    for found, output_v in zip(bulk.brake_thresholds_v(), (0.0, 3.3), strict=True):
        current = (found - reference) / 100e3 - reference / 20e3 + (output_v - reference) / 470e3
        assert current == pytest.approx(0, abs=1e-9)


def test_lead_drop_and_fuse():
    """16 AWG handbook 4.016 ohm/kft; the 50 A fuse saves 18 AWG, not 20 AWG."""
    assert leads.lead_drop_v(16, 6, 8, 20) == pytest.approx(8 * 6 * 4.016 / 304.8, rel=2e-3)
    assert leads.fuse_protects(18)
    assert not leads.fuse_protects(20)
    assert leads.smallest_gauge() == 18
    assert leads.continuous_share(50, 40) <= 0.8


def test_gate_supplies_are_neither_starved_nor_idle():
    """A 1 W, 12 V converter gives 83 mA and wants a tenth of that as least load (data sheets)."""
    fet = design.BRIDGE_FET
    assert gate.average_gate_a(fet, 2) == pytest.approx(2 * 83e-9 * 20e3)
    assert gate.ISOLATED_SUPPLY_MIN_A < gate.supply_load_a(fet) < gate.ISOLATED_SUPPLY_A / 4


@pytest.mark.parametrize("gate_ohm", [10, 15, 22])
def test_dead_time_covers_the_turn_off(gate_ohm):
    """Physics check: discharge the gate charge through the resistor by an ODE and compare the time."""
    fet = design.BRIDGE_FET
    total, farads = gate_ohm + gate.DRIVER_OHM, gate.input_capacitance_f(design.BRIDGE_FET)
    step, volts, held, time_s = 1e-10, design.GATE_DRIVE_V, 0.0, 0.0
    while volts > gate.THRESHOLD_MIN_V:
        current = volts / total
        if volts <= fet.plateau_v and held < fet.miller_c:
            held += current * step
        else:
            volts -= current * step / farads
        time_s += step
    assert gate.turn_off_s(fet, gate_ohm) == pytest.approx(time_s, rel=0.01)
    assert (
        gate.dead_time_needed_s(fet, gate_ohm)
        < gate.set_dead_time_s(design.DEAD_TIME_OHM)
        == design.DEAD_TIME_S
    )


def test_shunt_example_of_the_amplifiers_maker():
    """TI support forum thread 1078630 (INA240): 8.1 A in 3 mOhm makes 197 mW and 24.3 mV."""
    assert sense.shunt_w(8.1, 3e-3) == pytest.approx(0.197, abs=5e-4)
    assert pytest.approx(24.3e-3) == 8.1 * 3e-3


def test_ranges_meet_the_design_page():
    """Coarse at least +-60 A, fine at least +-3 A, simultaneously; sensor 5 V inside full scale."""
    assert sense.full_scale_a(design.SHUNT_OHM, design.COARSE_GAIN) >= 60
    assert sense.full_scale_a(design.SHUNT_OHM, design.FINE_GAIN) >= 3
    assert sense.divided_full_scale_v(100e3, 180e3) > 5.0
    assert sense.divided_full_scale_v(180e3, 27e3) > 24


def test_enob_8_7_is_54_db():
    """IEEE 1241: SINAD = 6.02 ENOB + 1.76 dB, against a full-scale sine of 2048 steps amplitude."""
    sinad = 20 * np.log10(2048 / np.sqrt(2) / sense.noise_steps(8.7))
    assert sinad == pytest.approx(6.02 * 8.7 + 1.76, abs=0.05)


def test_trip_adds_up():
    parts = trip.tolerance_parts_a(60)
    assert trip.worst_case_a(60) == pytest.approx(sum(parts.values()))
    assert trip.standard_uncertainty_a(60) < trip.worst_case_a(60)
    assert trip.threshold_v(60) == pytest.approx(1.65 + 60 * 1e-3 * 20)


def test_hard_ladder_trips_both_ways_at_60_a():
    high, low = trip.ladder_trip_a(design.HARD_LADDER_OHM)
    assert high == pytest.approx(design.HARD_TRIP_A, rel=0.005)
    assert low == pytest.approx(-high)


def test_trip_leaves_room_under_the_range_and_over_the_load():
    """Hard trip, all tolerances against us, must lie inside the coarse range and above the soft trip."""
    assert design.HARD_TRIP_A + trip.worst_case_a(60) < sense.full_scale_a(
        design.SHUNT_OHM, design.COARSE_GAIN
    )
    assert (
        design.HARD_TRIP_A - trip.worst_case_a(60)
        > design.SOFT_TRIP_A + trip.worst_case_a(50)
        > design.CURRENT_A
    )


def test_time_to_trip_is_the_r_l_step():
    assert trip.time_to_trip_s(60, 12, 0.1, 100e-6) == pytest.approx(
        chopper.time_to_current_s(60, 12, 0.1, 100e-6)
    )
    assert trip.time_to_trip_s(60, 12, 0.1, 100e-6) == pytest.approx(0.69e-3, rel=0.01)


def test_ipc_2221_common_calculator_values():
    """Public IPC-2221 calculators, 1 oz, 10 K: 1 A 0.300 mm outer, 0.781 mm inner; 10 A 7.19 mm."""
    assert board.track_width_mm(1, 10, 1) == pytest.approx(0.300, rel=0.015)
    assert board.track_width_mm(1, 10, 1, board.IPC_INNER) == pytest.approx(0.781, rel=0.015)
    assert board.track_width_mm(10, 10, 1) == pytest.approx(7.19, rel=0.015)


def test_via_against_a_published_figure():
    """A calculator's text: 0.3 mm via, 25 um, 1.6 mm board, 'approximately 150 C/W' (k 385 W/mK)."""
    assert board.via_k_per_w(1.6, 0.3, 0.025) == pytest.approx(150, rel=0.10)

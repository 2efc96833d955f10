"""Losses and heat against published worked examples."""

import pytest

from hardware.calc import design, losses

# LM2735-Q1 data sheet, "Example Efficiency Calculation" (a converter, same terms): 12 V out, 1.4 A,
# 1.6 MHz, rise 6 ns, fall 5 ns, 250 mOhm, duty 0.623, diode 0.45 V. Printed: 80, 70, 305 and 236 mW.
AMPS, HERTZ = 1.4, 1.6e6


def test_edges_of_the_data_sheet_example():
    assert losses.edge_w(12, AMPS, 6e-9, HERTZ) == pytest.approx(0.080, rel=0.02)
    assert losses.edge_w(12, AMPS, 5e-9, HERTZ) == pytest.approx(0.070, rel=0.05)


def test_conduction_of_the_data_sheet_example():
    assert losses.conduction_w(AMPS, 0.250, 0.623) == pytest.approx(0.305, rel=0.005)


def test_dead_time_diode():
    """ROHM note on synchronous power loss (from memory): 0.5 V, 3 A, 30 ns twice, 1 MHz: 90 mW."""
    assert losses.dead_time_w(0.5, 3, 30e-9, 1e6) == pytest.approx(0.090)


def test_charges():
    """E = Q V and C V^2/2, from the definition of charge and capacitance."""
    assert losses.charge_w(60e-9, 10, 20e3) == pytest.approx(0.012)
    assert losses.capacitor_w(1e-9, 14, 20e3) == pytest.approx(1.96e-3)


def test_heatsink_of_the_lecture_example():
    """Lecture slides on heat sinks: TO-220, 5 W, 3.0 K/W, 1 K/W grease, 150 C at 50 C: 16 K/W."""
    assert losses.sink_needed_k_per_w(150, 50, 5, 5, 3.0 + 1.0) == pytest.approx(16)


def test_junction_of_a_regulator_example():
    """3.5 W through 5 + 1 + 10 K/W at 25 C gives 81 C (newsletter example of a 7805)."""
    assert losses.junction_c(25, [(3.5, 16)]) == pytest.approx(81)
    assert losses.junction_c(25, [(3.5, 5), (3.5, 1), (3.5, 10)]) == pytest.approx(81)


def test_this_design_stays_far_below_its_limit():
    row = {r.name: r.value for r in losses.rows()}
    assert 60 < row["junction"] < 100
    assert row["bridge"] < 12
    assert row["heatsink for 100 C junction"] > design.SINK_K_PER_W


def test_the_heatsink_carries_every_mosfet_that_the_current_goes_through():
    """Four in series conduct at any time: two of the bridge, ideal diode, main switch."""
    fet, row = design.BRIDGE_FET, {r.name: r.value for r in losses.rows()}
    four_w = 4 * losses.conduction_w(design.CURRENT_A, fet.on_ohm * fet.hot_ratio)
    assert four_w < row["on the heatsink"] < 1.1 * four_w
    assert row["heatsink of 1.8 K/W"] < row["firmware begins to derate"]
    assert row["heatsink of 3 K/W"] > row["firmware cuts out"], "what was planned first is too small for 40 A"
    lasting_a = row["lasting current at 3 K/W"]
    assert 28 < lasting_a < 34
    assert losses.sink_c(fet, lasting_a, 3.0) == pytest.approx(row["firmware begins to derate"], abs=0.01)


def test_conduction_dominates_so_20_khz_is_free():
    fet = design.BRIDGE_FET
    conduction = losses.conduction_w(design.CURRENT_A, fet.on_ohm * fet.hot_ratio)
    assert conduction > 0.85 * losses.hottest_fet_w(fet)


def test_larger_gate_resistor_costs_little():
    fet = design.BRIDGE_FET
    assert losses.hottest_fet_w(fet, gate_ohm=22) - losses.hottest_fet_w(fet, gate_ohm=10) < 0.3

"""Copper temperature law, wire table and fusing against published figures."""

import pytest
from strokebench.physics import copper, wire

from tests.reference import materials

# R/R20 at k = 234.5 (IEC 60228 practice) and 235 (IEC 60034-1): the identity, evaluated to five places.
RATIOS = [(-40, 0.76424, 0.76471), (0, 0.92141, 0.92157), (60, 1.15717, 1.15686), (85, 1.25540, 1.25490)]
# Wire table in ohm per 1000 ft at 20 C, as printed in common electrical handbooks (solid copper).
OHM_PER_1000_FT = {12: 1.588, 14: 2.525, 16: 4.016, 18: 6.385, 20: 10.15, 22: 16.14}
# ASTM B258 diameters in mm (values from memory of the standard, 0.1 % is its rounding).
DIAMETER_MM = {8: 3.264, 10: 2.588, 12: 2.053, 14: 1.628, 16: 1.291, 18: 1.024, 20: 0.812, 22: 0.644}


@pytest.mark.parametrize(("to_c", "ratio_iec_60228", "ratio_iec_60034"), RATIOS)
def test_ratio_from_20_c(to_c, ratio_iec_60228, ratio_iec_60034):
    assert copper.resistance_ratio(20, to_c) == pytest.approx(ratio_iec_60228, abs=6e-6)
    assert copper.resistance_ratio(20, to_c, 235) == pytest.approx(ratio_iec_60034, abs=6e-6)


def test_alpha_of_annealed_copper_is_0_00393_per_k():
    """IEC 60028 gives 0.00393/K at 20 C (from memory)."""
    assert copper.resistance_ratio(20, 21) - 1 == pytest.approx(0.00393, rel=1e-3)


def test_temperature_by_resistance_method():
    """IEC 60034-1 method: 2.00 ohm at 20 C grown to 2.50 ohm is 83.6 C (k 234.5) or 83.75 C (k 235)."""
    assert materials.temperature_from_resistance(2.5, 2.0, 20) == pytest.approx(83.625, abs=1e-3)
    assert materials.temperature_from_resistance(2.5, 2.0, 20, 235) == pytest.approx(83.75, abs=1e-3)


def test_reference_and_inverse_agree():
    hot = copper.resistance_at(1.5, 25, 110)
    assert materials.temperature_from_resistance(hot, 1.5, 25) == pytest.approx(110)
    assert copper.resistance_at(hot, 110) == pytest.approx(1.5)


def test_the_law_refuses_impossible_temperatures():
    with pytest.raises(ValueError, match="linear copper law"):
        copper.resistance_ratio(20, -240)
    with pytest.raises(ValueError, match="positive"):
        materials.temperature_from_resistance(0, 1, 20)


@pytest.mark.parametrize("gauge", OHM_PER_1000_FT)
def test_wire_table(gauge):
    ohm = wire.resistance_ohm(wire.awg_area_mm2(gauge), 304.8)
    assert ohm == pytest.approx(OHM_PER_1000_FT[gauge], rel=2e-3)
    assert wire.awg_diameter_mm(gauge) == pytest.approx(DIAMETER_MM[gauge], rel=1e-3)


def test_awg_halves_its_area_in_three_steps():
    """Handbook rule: three numbers up is half the copper (within 0.4 %)."""
    assert wire.awg_area_mm2(13) / wire.awg_area_mm2(10) == pytest.approx(0.5, rel=4e-3)


def test_drop_of_a_lead():
    """Ohm's law with the handbook's 4.016 ohm/kft for 16 AWG: 6 m, 8 A is 0.632 V cold, x 1.2554 at 85 C."""
    cold = wire.drop_v(wire.awg_area_mm2(16), 6, 8)
    assert cold == pytest.approx(8 * 6 * 4.016 / 304.8, rel=2e-3)
    assert wire.drop_v(wire.awg_area_mm2(16), 6, 8, 85) == pytest.approx(0.7939, rel=5e-3)


def test_adiabatic_k_of_iec_60364():
    """IEC 60364-5-54 tables (from memory): 115 for 70 -> 160 C, 143 for 30 -> 160 C, copper."""
    assert wire.adiabatic_k(70, 160) == pytest.approx(115, rel=2e-3)
    assert wire.adiabatic_k(30, 160) == pytest.approx(143, rel=2e-3)
    assert wire.withstand_i2t(0.5176, 70, 160) == pytest.approx((115 * 0.5176) ** 2, rel=3e-3)


def test_fusing_current_of_18_awg_in_a_second():
    """Onderdonk: I = A sqrt(log10((Tm-Ta)/(234+Ta)+1)/(33 t)) with A = 1624 circular mil (18 AWG)."""
    assert materials.fusing_current_a(wire.awg_area_mm2(18), 1.0) == pytest.approx(237.6, rel=2e-3)
    area_mm2 = 2581 * materials.MM2_PER_CIRCULAR_MIL
    assert materials.fusing_current_a(area_mm2, 5.0, 25.0) == pytest.approx(168.9, rel=2e-3)

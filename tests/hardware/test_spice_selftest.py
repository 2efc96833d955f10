"""The firmware's self-test windows against the resistor network they look at."""

import pytest
from strokefw.tick import check

from hardware.calc import bulk, design
from hardware.spice import runner

pytestmark = pytest.mark.skipif(not runner.available(), reason="ngspice is not installed")
SHORT, LEAK, OPEN = 1e-3, 1e3, 1e9
DIVIDER_OHM = design.BUS_TOP_OHM + design.BUS_BOTTOM_OHM
LOWER_OHM = 1 / (1 / 100e3 + 1 / DIVIDER_OHM)
FLOAT_PERMILLE = 1000 * LOWER_OHM / (LOWER_OHM + 100e3)
"""Ohm's law: 100k to the bus, 100k and the measuring divider to ground."""
FETS = ("ah", "al", "bh", "bl")


def healthy(result):
    """The firmware's window for both floating outputs."""
    window = (result["leg_a_permille"], result["leg_b_permille"])
    return all(check.FLOAT_LOW <= value <= check.FLOAT_HIGH for value in window)


@pytest.mark.parametrize("supply_v", [9, 12, 16])
@pytest.mark.parametrize("part_ohm", [0.1, 30, OPEN])
def test_healthy_bridge_is_inside_the_window(supply_v, part_ohm):
    result = runner.run("selftest", vsup=supply_v, part=part_ohm)
    assert healthy(result)
    assert result["leg_a_permille"] == pytest.approx(FLOAT_PERMILLE, abs=0.5)
    assert abs(result["leg_a_permille"] - result["leg_b_permille"]) < check.APART


@pytest.mark.parametrize("fet", FETS)
@pytest.mark.parametrize("ohm", [SHORT, LEAK])
@pytest.mark.parametrize("part_ohm", [0.1, OPEN])
def test_shorted_or_leaking_mosfet_is_outside(fet, ohm, part_ohm):
    assert not healthy(runner.run("selftest", **{fet: ohm}, part=part_ohm))


@pytest.mark.parametrize(("fet", "side"), [("ah", 1), ("al", 0), ("bh", 1), ("bl", 0)])
def test_without_a_part_the_leg_at_fault_is_known(fet, side):
    result = runner.run("selftest", **{fet: SHORT}, part=OPEN)
    mine, other = (
        ("leg_a_permille", "leg_b_permille") if fet[0] == "a" else ("leg_b_permille", "leg_a_permille")
    )
    assert result[mine] == pytest.approx(1000 * side, abs=5)
    assert result[other] == pytest.approx(FLOAT_PERMILLE, abs=0.5)


def test_shorted_leg_draws_only_what_the_precharge_resistor_lets_through():
    result = runner.run("selftest", ah=SHORT, al=SHORT)
    assert result["supply_ma"] == pytest.approx(1000 * design.SUPPLY_V / design.PRECHARGE_OHM, rel=0.01)
    assert result["bus_permille"] < 10


def test_leakage_of_warm_mosfets_passes():
    """100 uA through both high sides, far above a data sheet's 1 uA at 25 C, must not stop the bench."""
    assert healthy(runner.run("selftest", ah=240e3, bh=240e3))


def test_precharge_is_done_before_the_firmware_gives_up():
    assert bulk.charge_time_s(design.PRECHARGE_OHM, design.BULK_F, 0.95) < check.CHARGE_TICKS / 1000

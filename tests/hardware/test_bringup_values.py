"""What bring-up and calibration expect follows from the circuit: steps.toml against hardware/calc."""

from __future__ import annotations

import csv
import math
from pathlib import Path

import pytest
from strokebench.bringup.steps import Range, load_steps
from strokebench.calibrate.quantities import NTC_GAIN_U, quantities
from strokebench.sim.plants import base
from strokefw import channels
from strokefw.tick import check, selftest

from hardware.calc import budget, bulk, design

ROOT = Path(__file__).resolve().parents[2]
STEPS = {step.id: step for step in load_steps()}
CHANNELS = budget.channels()


def expected(step: str, board: str = "reference") -> Range:
    found = STEPS[step].expected(board)
    assert found is not None
    return found


def three_u(channel: str, value: float = 0.0) -> float:
    """Three standard uncertainties of an uncalibrated reading."""
    offset, gain, linearity, _noise = CHANNELS[channel].standard()
    return 3 * math.hypot(offset, linearity, gain * value)


def charge_s(ohm: float, farads: float) -> float:
    """From 20 % to 80 %."""
    return bulk.charge_time_s(ohm, farads, 0.8) - bulk.charge_time_s(ohm, farads, 0.2)


def test_precharge_time() -> None:
    reference = expected("precharge_s")
    assert reference.value == pytest.approx(charge_s(design.PRECHARGE_OHM, design.BULK_F), rel=0.005)
    assert reference.tolerance >= 0.3 * charge_s(design.PRECHARGE_OHM, design.BULK_F)
    with (ROOT / "hardware/kicad_small/exports/bom.csv").open(encoding="utf-8") as file:
        bill = list(csv.DictReader(file))
    cans = sum(int(row["quantity"]) for row in bill if row["value"].startswith("1000u"))
    (ohm,) = (float(row["value"].partition("R")[0]) for row in bill if "precharges" in row["why"])
    assert expected("precharge_s", "small").value == pytest.approx(charge_s(ohm, cans * 1e-3), rel=0.01)
    simulated = expected("precharge_s", "simulated")
    assert simulated.value == pytest.approx(charge_s(base.PRECHARGE_OHM, base.BUS_F), rel=0.005)
    # the precharge of one can fewer than half still passes, a quarter of them does not
    low, high = reference.bounds
    assert low is not None and high is not None
    assert charge_s(design.PRECHARGE_OHM, 0.5 * design.BULK_F) < low
    assert charge_s(2 * design.PRECHARGE_OHM, design.BULK_F) > high


def test_zeros_of_the_current_ranges() -> None:
    assert expected("current_fine_zero_a").tolerance == pytest.approx(
        3 * CHANNELS["current_fine_a"].standard()[0], rel=0.05
    )
    assert expected("current_coarse_zero_a").tolerance == pytest.approx(three_u("current_coarse_a"), rel=0.05)
    for step in ("current_fine_zero_a", "current_coarse_zero_a"):
        small = expected(step, "small").tolerance
        assert small == pytest.approx(expected(step).tolerance / channels.FINER[1], rel=0.01)
    # never looser than the firmware's own self-test
    assert expected("current_fine_zero_a").tolerance * 1000 < check.ZERO_FINE_MA
    assert expected("current_coarse_zero_a").tolerance * 1000 < check.ZERO_COARSE_MA


def test_voltages() -> None:
    assert expected("vin_v").tolerance == pytest.approx(three_u("output_a_v", 12.6), rel=0.05)
    both = math.hypot(three_u("output_a_v", 12.6), three_u("supply_v", 12.6))
    assert both < expected("main_switch_v").tolerance < 1.2 * both


def test_floating_outputs() -> None:
    """100k to the supply over 100k parallel to the 207k divider; with the two outputs apart or joined."""
    down = 1 / (1 / 100e3 + 1 / (design.BUS_TOP_OHM + design.BUS_BOTTOM_OHM))
    assert expected("leg_a_permille").value == pytest.approx(1000 * down / (down + 100e3), abs=6)
    for step in ("leg_a_permille", "leg_b_permille"):
        low, high = expected(step).bounds
        assert low is not None and high is not None
        assert check.FLOAT_LOW < low < high < check.FLOAT_HIGH


def test_limits_of_the_self_test() -> None:
    for leg in "ab":
        assert expected(f"pulse_{leg}_low").high == check.PULLED_LOW
        assert expected(f"pulse_{leg}_high").low == check.PULLED_HIGH
    names = {step.what.partition(":")[2] for step in STEPS.values() if step.what.startswith("selftest:")}
    assert names - {"code"} <= set(selftest.NAMES)


def test_supply_limit_leaves_room_for_the_precharge() -> None:
    """The laboratory supply's limit in the steps lies above what the precharge takes."""
    assert "0.36 A" in STEPS["idle_a"].caution
    drawn_a = design.SUPPLY_V / design.PRECHARGE_OHM
    assert drawn_a == pytest.approx(0.36, abs=0.005)
    assert "current limit of 0.5 A" in STEPS["idle_a"].do


def test_calibration_assumes_the_budget() -> None:
    table = {
        "current_fine": "current_fine_a",
        "current_coarse": "current_coarse_a",
        "supply": "supply_v",
        "vin": "output_a_v",
        "output_a": "output_a_v",
        "output_b": "output_b_v",
    }
    for name, key in table.items():
        quantity = quantities()[name]
        _offset, gain, linearity, _noise = CHANNELS[key].standard()
        assert quantity.gain_u == pytest.approx(gain, rel=0.06), name
        assert quantity.linearity == pytest.approx(linearity, rel=0.06), name
    # pull-up of 1 %: d(share)/share = (1 - share) of it, at 10 kOhm and warmer at least a third
    pull_up = budget.PULL_UP_TOLERANCE / 3**0.5
    assert 0.3 * pull_up < NTC_GAIN_U < pull_up

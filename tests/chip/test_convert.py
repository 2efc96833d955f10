"""Known currents and voltages on the emulated converters, through scan and calibration, against the truth."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from strokebench.bench.spec import SimSpec
from strokebench.sim.chip.machine import ChipUnavailable
from strokebench.sim.chip.world import ChipWorld
from strokebench.sim.engine.chip import quiet_machine
from strokefw import channels
from tools.chip import convert as chip_convert
from tools.chip.convert import COLUMNS, FedBoard, Reading

from tests.chip.conftest import START

pytestmark = [pytest.mark.chip, pytest.mark.long]
SEEDS = (1, 2, 3)
STEP = {  # one step of a 12-bit converter, in the unit
    "current_coarse_a": channels.COARSE_FULL_MA / 4095e3,
    "current_fine_a": channels.FINE_FULL_MA / 4095e3,
    "current_a": channels.COARSE_FULL_MA / 4095e3,
    "supply_v": channels.SUPPLY_FULL_MV / 4095e3,
    "output_a_v": channels.SUPPLY_FULL_MV / 4095e3,
    "output_b_v": channels.SUPPLY_FULL_MV / 4095e3,
    "sensor_a_v": channels.SENSOR_FULL_MV / 4095e3,
    "sensor_b_v": channels.SENSOR_FULL_MV / 4095e3,
}
ROUNDING = 0.001
"""The firmware's own: half a milliamp or millivolt, and as much again where it divides by the feed."""


@pytest.fixture(scope="module")
def fed() -> Iterator[ChipWorld]:
    """A Pico with the board and the firmware's sense, on inputs that stand where they are put."""
    try:
        machine = quiet_machine(modules=chip_convert.MODULE)
    except ChipUnavailable as why:
        pytest.skip(f"emulated chip: {why}")
    made = ChipWorld(machine, FedBoard(SimSpec()))
    machine.execute(START)
    chip_convert.begin(made)
    yield made


def _worst(found: list[Reading]) -> dict[str, Reading]:
    assert {reading.column for reading in found} == set(COLUMNS)
    return chip_convert.worst(found)


def test_without_converter_errors_within_half_a_step(fed: ChipWorld) -> None:
    chip_convert.fit_errors(fed, None)
    found = chip_convert.sweep(fed)
    for reading in found:
        allowed = STEP[reading.column] / 2 + ROUNDING
        if reading.column == "current_a" and abs(reading.true) <= 6.4:
            allowed = STEP["current_fine_a"] / 2 + ROUNDING
        assert abs(reading.error) <= allowed, reading
    assert max(abs(reading.error) for reading in found) > 0  # they are readings, not the truth handed back


def test_as_built_within_the_stated_uncertainty(fed: ChipWorld) -> None:
    """Every error within k = 3 of what the host states for a bench without calibration; few beyond k = 2."""
    found = []
    for seed in SEEDS:
        chip_convert.fit_errors(fed, seed)
        found += chip_convert.sweep(fed)
    for column, reading in _worst(found).items():
        print(f"as built: {column} {reading.error:+.5f} at {reading.true:.4g}, u {reading.u:.5f}")
        assert abs(reading.error) <= 3 * reading.u, reading
    beyond = sum(abs(reading.error) > 2 * reading.u for reading in found)
    assert beyond <= 0.1 * len(found)


def test_after_calibration_within_what_is_stated_then(fed: ChipWorld) -> None:
    chip_convert.fit_errors(fed, SEEDS[-1])
    before = chip_convert.sweep(fed)
    chip_convert.calibrate(fed)
    after = chip_convert.sweep(fed, chip_convert.calibrated)
    for column, reading in _worst(after).items():
        print(f"calibrated: {column} {reading.error:+.5f} at {reading.true:.4g}, u {reading.u:.5f}")
        assert abs(reading.error) <= 3 * reading.u, reading
    assert sum(abs(reading.error) > 2 * reading.u for reading in after) <= 0.05 * len(after)
    for column in ("current_fine_a", "supply_v", "output_a_v"):  # this specimen's sensors are good before
        errors = [
            [abs(reading.error) for reading in found if reading.column == column] for found in (before, after)
        ]
        assert sum(errors[1]) < 0.5 * sum(errors[0]), column

"""The classroom's way on the emulated chip: the simulation's numbers from a bare Pico, and no pin moves."""

from __future__ import annotations

import pytest
from strokebench.sim.chip.machine import ChipUnavailable
from strokebench.sim.engine import chip
from tools.chip.classroom import lesson

pytestmark = [pytest.mark.chip, pytest.mark.long]


def test_a_bare_pico_gives_the_numbers_of_the_simulation_and_moves_no_pin() -> None:
    try:
        found = lesson(chip.find_image())
    except ChipUnavailable as why:
        pytest.skip(f"emulated chip: {why}")
    print(f"{len(found.samples)} rows took {found.took_s:.2f} emulated s")
    assert found.same and len(found.samples) > 250 and found.samples["current_a"].max() > 1.0
    assert found.rises == []  # gates, enable line, both switches and the latch: not one edge

"""A solenoid's whole procedure on the small bench, on the emulated chip against in process. Half an hour."""

from __future__ import annotations

import pytest
from strokebench.data.findings import Verdict
from strokebench.sim.chip.machine import ChipUnavailable
from strokebench.sim.engine import chip
from tools.chip.procedure import both, differences

pytestmark = [pytest.mark.chip, pytest.mark.long]
FAR_APART = 1.5
"""As in test_procedure.py."""


def test_a_solenoid_on_the_small_bench_of_the_chip_as_in_process() -> None:
    try:
        here, on_chip = both(chip.find_image(), "solenoid", "small")
    except ChipUnavailable as why:
        pytest.skip(f"emulated chip: {why}")
    print(on_chip.seconds, on_chip.lost_rows, on_chip.counters)
    for difference in differences(here, on_chip):
        print(difference.here.key, difference.here.value, difference.chip.value, difference.share)
    assert on_chip.lost_rows == 0 and on_chip.counters["overruns"] == 0
    assert on_chip.verdict is here.verdict is Verdict.PASS
    for difference in differences(here, on_chip):
        assert difference.here.verdict is difference.chip.verdict, difference.here.key
        assert difference.share <= FAR_APART, difference.here.key

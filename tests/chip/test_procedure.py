"""The throttle body's whole procedure on the emulated chip against the same in process. Half an hour."""

from __future__ import annotations

import pytest
from strokebench.sim.chip.machine import ChipUnavailable
from strokebench.sim.engine import chip
from tools.chip.procedure import both, differences

pytestmark = [pytest.mark.chip, pytest.mark.long]
FAR_APART = 1.5
"""Of the expanded uncertainty (k = 2) of the difference: with some forty findings one or two lie beyond 1."""


def test_the_same_findings_as_in_process() -> None:
    try:
        here, on_chip = both(chip.find_image())
    except ChipUnavailable as why:
        pytest.skip(f"emulated chip: {why}")
    assert on_chip.lost_rows == 0 and on_chip.counters["overruns"] == 0
    assert on_chip.verdict is here.verdict
    for difference in differences(here, on_chip):
        print(difference.here.key, difference.here.value, difference.chip.value, difference.share)
        assert difference.here.verdict is difference.chip.verdict, difference.here.key
        assert difference.share <= FAR_APART, difference.here.key

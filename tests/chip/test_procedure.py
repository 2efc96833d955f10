"""Whole procedures on the emulated chip against the same in process. Some minutes to half an hour."""

from __future__ import annotations

import pytest
from strokebench.sim.chip.machine import ChipUnavailable
from strokebench.sim.engine import chip
from tools.chip.procedure import QUICKEST, both, differences

pytestmark = [pytest.mark.chip, pytest.mark.long]
FAR_APART = 1.5
"""Of the expanded uncertainty (k = 2) of the difference: with some forty findings one or two lie beyond 1."""


@pytest.mark.parametrize(("part", "kind"), [QUICKEST, ("throttle-body", "reference")])
def test_the_same_findings_as_in_process(part: str, kind: str) -> None:
    try:
        here, on_chip = both(chip.find_image(), part, kind)
    except ChipUnavailable as why:
        pytest.skip(f"emulated chip: {why}")
    print(on_chip.seconds, on_chip.counters)
    assert on_chip.lost_rows == 0 and on_chip.counters["overruns"] == 0
    assert on_chip.verdict is here.verdict
    for difference in differences(here, on_chip):
        print(difference.here.key, difference.here.value, difference.chip.value, difference.share)
        assert difference.here.verdict is difference.chip.verdict, difference.here.key
        assert difference.share <= FAR_APART, difference.here.key

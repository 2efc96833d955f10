"""A valve of other physics that sticks in its seat: it creeps before it breaks loose."""

from __future__ import annotations

import pytest
from strokebench.bench.spec import SimSpec
from strokebench.sim.trials import Trial, conditions, examine


@pytest.mark.slow
@pytest.mark.parametrize("seed", [422, 426])
def test_a_seat_that_lets_go_slowly_is_still_named(seed: int) -> None:
    """Read where the valve has moved by 1 %, its extra current was 40 % of the friction, and passed."""
    spec = conditions("egr-motor", seed, ("sticky_seat=2.5",), SimSpec(family="second"))
    record = examine(Trial("sticky_seat", "severe", spec))
    assert record["named"] == ["sticky_seat"]
    value = next(each["value"] for each in record["readings"] if each["key"] == "seat_sticking")
    assert value > 95

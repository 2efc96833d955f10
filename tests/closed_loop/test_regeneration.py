"""A turning part is slowed quickly, the supply takes nothing back: the bench stays on, below its limit."""

import pytest
from strokebench.bench.spec import SimSpec
from strokebench.lessons.gear import drive, procedure
from strokebench.parts import load_part
from strokebench.sim.plants import make_plant


@pytest.mark.parametrize("supply_v", (12.6, 14.4))
@pytest.mark.parametrize("part", ("cooling-fan", "water-pump"))
def test_a_quick_way_down_stays_below_the_limit(part: str, supply_v: float) -> None:
    """The bus of 10 mF takes 0.5 J between 12.6 and 16 V; a fan's rotor has some 50 J."""
    limits = load_part(part).limits
    plan = procedure(
        {"kind": "ramp", "label": "start", "to": 1.0, "over_s": 2.0},
        {"kind": "hold", "label": "run", "for_s": 1.0},
        {"kind": "ramp", "label": "down", "to": 0.0, "over_s": 0.1},
        {"kind": "hold", "label": "after", "for_s": 0.6},
    )
    run = drive(make_plant(SimSpec(part=part, seed=3, supply_v=supply_v)), limits, plan)
    assert run.info["fault"] == 0
    assert supply_v + 0.3 < run.samples["supply_v"].max() < limits.supply_max_v
    assert run.samples["current_a"].min() < -0.15  # it did feed back

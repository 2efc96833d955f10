"""A turning part is slowed quickly, the supply takes nothing back: the bench stays on, below its limit."""

import numpy as np
import pytest
from strokebench.bench.spec import SimSpec
from strokebench.lessons.gear import drive, procedure
from strokebench.lessons.lesson7_supply import fan
from strokebench.parts import load_part
from strokebench.sim.plants import make_plant
from strokebench.sim.plants.rotary import Rotary
from strokefw import faults


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


@pytest.mark.parametrize("supply_v", (12.6, 15.5))
@pytest.mark.parametrize("part", ("throttle-body", "egr-motor"))
def test_a_part_reversed_on_its_way_is_hardly_held_up(part: str, supply_v: float) -> None:
    """At 20 per second the drive needs 35 ms from 0.7 to zero; a battery charger leaves 0.5 V of room."""
    limits = load_part(part).limits
    plan = procedure(
        {"kind": "step", "label": "open", "to": 0.7, "for_s": 0.095},
        {"kind": "step", "label": "back", "to": -0.7, "for_s": 0.095},
        {"kind": "step", "label": "off", "to": 0.0, "for_s": 0.3},
    )
    run = drive(make_plant(SimSpec(part=part, seed=3, supply_v=supply_v)), limits, plan)
    assert run.info["fault"] == 0
    assert run.samples["supply_v"].max() < limits.supply_max_v
    for label, sign in (("back", 1), ("off", -1)):
        began_s = next(run.labelled(label)).start_s
        after = run.samples[run.samples["time_s"] >= began_s]
        ended_s = after["time_s"][after["drive"] * sign < 0.005][0]
        assert ended_s - began_s < 0.16, label


class TurnedFromOutside(Rotary):
    """Once it is quick, something keeps it so."""

    kept_rad_s = 0.0

    def advance(self, drive: float, gate: bool, rail: int, dt_s: float = 0.001) -> None:
        super().advance(drive, gate, rail, dt_s)
        if self.speed_rad_s > 220.0:
            self.kept_rad_s = 220.0
        self.speed_rad_s = max(self.speed_rad_s, self.kept_rad_s)


def test_a_rotor_turned_from_outside_ends_the_run_and_harms_nothing() -> None:
    """The drive cannot stop it, and the capacitors cannot take for ever: the bridge goes off, by its code."""
    limits = load_part("cooling-fan").limits
    plan = procedure(
        {"kind": "ramp", "label": "start", "to": 0.9, "over_s": 2.0},
        {"kind": "ramp", "label": "down", "to": 0.0, "over_s": 0.1},
        {"kind": "hold", "label": "after", "for_s": 9.0},
    )
    plant = fan(0.02, TurnedFromOutside)
    run = drive(plant, limits, plan)
    assert isinstance(plant, TurnedFromOutside) and plant.kept_rad_s
    assert run.info["fault"] == faults.REGEN_HIGH
    assert run.samples["supply_v"].max() < limits.supply_max_v + 0.1
    assert plant.current_a == 0.0 and np.all(run.samples["drive"][-5:] == 0.0)

"""The second family of simulated parts: what its physics must do whatever the seed."""

from __future__ import annotations

import numpy as np
import pytest
from strokebench.bench.spec import SimSpec
from strokebench.errors import UsageError
from strokebench.sim.plants import ONLY_FIRST, PARTS, available, make_plant
from strokebench.sim.second.magnet import Magnet
from strokebench.sim.second.mover import Geared
from strokebench.sim.second.supply import Charger


def powered(part: str, *faults: str, seed: int = 4, **conditions: float):  # type: ignore[no-untyped-def]
    spec = SimSpec(part=part, seed=seed, faults=faults, family="second", **conditions)  # type: ignore[arg-type]
    plant = make_plant(spec)
    for _ in range(200):
        plant.advance(0.0, False, 1)
    plant.advance(0.0, False, 2)
    return plant


def ramp(plant, drive: float, ticks: int):  # type: ignore[no-untyped-def]
    for n in range(ticks):
        plant.advance(drive * (n + 1) / ticks, True, 2)
    return plant


def test_an_unknown_family_and_a_part_without_one_are_refused() -> None:
    with pytest.raises(UsageError, match="no family"):
        SimSpec(family="third")
    with pytest.raises(UsageError, match="fixed numbers"):
        make_plant(SimSpec(part="throttle-loh2013", family="second"))


@pytest.mark.parametrize("seed", range(6))
def test_every_good_throttle_travels_and_returns_to_rest(seed: int) -> None:
    plant = powered("throttle-body", seed=seed, supply_v=11.5)
    assert isinstance(plant, Geared)
    rest = plant.position
    for way in (0.6, -0.6):
        ramp(plant, way, 400)
        for _ in range(200):
            plant.advance(way, True, 2)
        assert (plant.position > 0.98) if way > 0 else (plant.position < 0.02)
        for _ in range(800):
            plant.advance(0.0, False, 2)
        assert plant.position == pytest.approx(rest, abs=0.015)


def test_a_coil_with_eddy_currents_has_its_inductance_at_rest_and_less_at_once() -> None:
    plant = powered("egr-solenoid", "stuck_shut", seed=7)
    assert isinstance(plant, Magnet)
    plant.charger = Charger()
    amps = []
    for _ in range(40):  # so short that it does not warm up
        plant.advance(0.15, True, 2)
        amps.append(plant.current_a)
    late_s = float(np.sum(1 - np.array(amps) / amps[-1])) * 1e-3  # the area over a lag's step is L/R
    rest_s = plant.coil.rest_h / plant._loop_ohm
    assert late_s == pytest.approx(rest_s, rel=0.02)
    whole = 1e-3 / rest_s
    assert amps[0] / amps[-1] > 1.2 * (1 - (1 - np.exp(-whole)) / whole)  # mean of a lag's first tick


def test_the_same_seed_gives_the_same_part_and_the_families_differ() -> None:
    first = ramp(powered("throttle-body"), 0.4, 50).current_a
    assert ramp(powered("throttle-body"), 0.4, 50).current_a == first
    other = make_plant(SimSpec(seed=4))
    assert type(other).__module__.startswith("strokebench.sim.plants.")


@pytest.mark.parametrize("part", [part for part in PARTS if part not in ONLY_FIRST])
def test_every_defect_of_the_first_family_can_be_put_into_the_second(part: str) -> None:
    for kind in available(part):
        plant = make_plant(SimSpec(part=part, seed=4, faults=(f"{kind.name}:severe",), family="second"))
        plant.advance(0.2, True, 2)
        assert type(plant).__module__.startswith("strokebench.sim.second.")

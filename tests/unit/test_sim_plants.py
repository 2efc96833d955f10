"""What each plant must do whatever the seed, and which way each defect must push what can be measured."""

from __future__ import annotations

import math

import numpy as np
import pytest
from strokebench.bench.spec import SimSpec
from strokebench.sim.plants import make_plant
from strokebench.sim.plants.base import CHOPPER_V, Plant
from strokebench.sim.plants.plunger import Plunger
from strokebench.sim.plants.positioner import Positioner
from strokebench.sim.plants.rotary import Rotary
from strokebench.sim.plants.wiring import Wiring


def powered(part: str, *faults: str, seed: int = 4, **conditions: float) -> Plant:
    plant = make_plant(SimSpec(part=part, seed=seed, faults=faults, **conditions))  # type: ignore[arg-type]
    for _ in range(1500):
        plant.advance(0.0, False, 1)
    plant.advance(0.0, False, 2)
    return plant


def drive(plant: Plant, drive: float, ticks: int, gate: bool = True) -> Plant:
    for _ in range(ticks):
        plant.advance(drive, gate, 2)
    return plant


def ramp(plant: Plant, drive: float, ticks: int) -> Plant:
    for n in range(ticks):
        plant.advance(drive * (n + 1) / ticks, True, 2)
    return plant


@pytest.mark.parametrize("seed", range(40))
def test_every_good_throttle_travels_and_returns_to_rest(seed: int) -> None:
    plant = powered("throttle-body", seed=seed, supply_v=11.5)
    assert isinstance(plant, Positioner)
    rest = plant.position
    assert 0.07 < rest < 0.12
    for way in (0.6, -0.6):
        ramp(plant, way, 300)
        drive(plant, way, 100)
        assert (plant.position > 0.98) if way > 0 else (plant.position < 0.02)
        drive(plant, 0.0, 1000, gate=False)
        assert plant.position == pytest.approx(rest, abs=0.008)


@pytest.mark.parametrize("seed", range(20))
@pytest.mark.parametrize("part", ["egr-motor", "egr-solenoid"])
def test_every_good_valve_opens_fully_and_shuts(part: str, seed: int) -> None:
    plant = powered(part, seed=seed, supply_v=11.5)
    assert isinstance(plant, Positioner | Plunger)
    ramp(plant, 0.95, 500)
    assert plant.position > 0.97
    drive(plant, 0.0, 1500, gate=False)
    assert plant.position < 0.01


def throttle_at(drive_up: float, *faults: str) -> Positioner:
    plant = powered("throttle-body", *faults)
    assert isinstance(plant, Positioner)
    ramp(plant, drive_up, 3000)
    return plant


def test_binding_stops_the_plate_where_it_is() -> None:
    good, bound = throttle_at(0.26), throttle_at(0.26, "binding=3@0.5")
    assert good.position > 0.55
    assert bound.position == pytest.approx(0.47, abs=0.04)


def test_weak_spring_needs_less_current_and_sticky_more() -> None:
    def leaves_at(*faults: str) -> float:
        plant = powered("throttle-body", *faults)
        assert isinstance(plant, Positioner)
        start = plant.position
        for n in range(4000):
            plant.advance(n * 1e-4, True, 2)
            if plant.position > start + 0.05:
                return plant.current_a
        return math.inf

    good = leaves_at()
    assert leaves_at("weak_spring") < 0.85 * good
    assert leaves_at("sticky") > 1.15 * good


def test_winding_and_lead_defects_change_the_stall_current() -> None:
    good = drive(powered("throttle-body"), 0.6, 300).current_a
    assert drive(powered("throttle-body", "shorted_turns=0.3"), 0.6, 300).current_a == pytest.approx(
        good / 0.7, rel=0.05
    )
    assert drive(powered("throttle-body", "lead_resistance=1.5"), 0.6, 300).current_a < 0.6 * good
    assert drive(powered("throttle-body", "open_winding"), 0.6, 300).current_a == 0.0
    assert drive(powered("throttle-body", "weak_battery"), 0.6, 300).bus_v < 11.9


@pytest.mark.parametrize("fault, volts", [("track_dead@a", 0.0), ("track_shorted@a", 5.0)])
def test_dead_and_shorted_tracks(fault: str, volts: float) -> None:
    plant = powered("throttle-body", fault)
    for way in (0.5, -0.5):
        drive(plant, way, 300)
        assert plant.sensor_a_v == pytest.approx(volts, abs=0.01)
    assert plant.sensor_b_v > 4.2  # the other still works: shut


def test_worn_track_drops_out_at_its_place_only() -> None:
    plant = powered("throttle-body", "worn_track=0.9@0.6")
    assert isinstance(plant, Positioner)
    seen = []
    for n in range(4000):
        plant.advance(0.35 * n / 4000, True, 2)
        seen.append((plant.position, plant.sensor_a_v, plant.sensor_b_v))
    position, a_v, b_v = np.array(seen).T
    wrong = np.abs(a_v + b_v - 5.0) > 0.3
    assert wrong.sum() > 5
    assert np.abs(position[wrong] - 0.6).max() < 0.05


def test_winding_warms_and_its_resistance_follows_copper() -> None:
    plant = drive(powered("throttle-body", ambient_c=20.0), 0.6, 200)
    cold_a = plant.current_a
    drive(plant, 0.6, 20_000)
    assert plant.winding_c > 35
    assert plant.current_a / cold_a == pytest.approx((234.5 + 22) / (234.5 + plant.winding_c), rel=0.03)
    assert plant.part_c > 20.2


def test_carbon_and_stuck_valves() -> None:
    for part in ("egr-motor", "egr-solenoid"):
        plant = powered(part, "carbon_seat=0.2")
        assert isinstance(plant, Positioner | Plunger)
        drive(plant, 0.9, 600)
        drive(plant, 0.0, 1500, gate=False)
        assert plant.position == pytest.approx(0.2, abs=0.02)
    shut = powered("egr-solenoid", "stuck_shut")
    assert isinstance(shut, Plunger)
    assert drive(shut, 1.0, 500) is shut and shut.position == 0.0


def test_leaky_freewheel_adds_current_but_no_pull() -> None:
    good = drive(powered("solenoid"), 1.0, 100)
    leaky = drive(powered("solenoid", "leaky_freewheel=1"), 1.0, 100)
    assert leaky.current_a - good.current_a == pytest.approx(12.6 / 100, rel=0.02)


def turning(part: str, *faults: str, at: float = 1.0) -> Rotary:
    plant = powered(part, *faults)
    assert isinstance(plant, Rotary)
    ramp(plant, at, 1000)
    drive(plant, at, 1500)
    return plant


@pytest.mark.parametrize(
    "part, fault, current, speed",
    [
        ("fuel-pump", "dry", "less", "more"),
        ("fuel-pump", "worn", "less", "more"),
        ("fuel-pump", "clogged", "more", "less"),
        ("fuel-pump", "dragging", "more", "less"),
        ("fuel-pump", "weak_magnet", "more", "more"),
        ("water-pump", "dry", "less", "more"),
        ("cooling-fan", "obstructed", "more", "less"),
        ("cooling-fan", "dragging", "more", "less"),
    ],
)
def test_defects_of_turning_parts_push_the_right_way(part: str, fault: str, current: str, speed: str) -> None:
    # worn vanes leak the same at any speed, which tells only where the flow is small
    at = 0.6 if fault == "worn" else 1.0
    good, bad = turning(part, at=at), turning(part, fault, at=at)
    assert (
        (bad.current_a > 1.03 * good.current_a)
        if current == "more"
        else (bad.current_a < 0.97 * good.current_a)
    )
    wish = bad.speed_rad_s > good.speed_rad_s if speed == "more" else bad.speed_rad_s < good.speed_rad_s
    assert wish


def test_blocked_motor_draws_what_its_resistance_allows() -> None:
    plant = turning("fuel-pump", "blocked")
    loop = plant._loop_ohm + plant.source_ohm
    assert plant.speed_rad_s == 0.0
    assert plant.current_a == pytest.approx((12.6 - 0.6) / loop, rel=0.05)


def test_soft_start_cuts_the_inrush() -> None:
    hard, soft = powered("cooling-fan"), powered("cooling-fan")
    hard_peak = max(drive(hard, 1.0, 1).current_max_a for _ in range(300))
    soft_peak = 0.0
    for n in range(1500):
        soft_peak = max(soft_peak, drive(soft, min(1.0, n / 1000), 1).current_max_a)
    assert hard_peak > 40 > 2 * soft_peak - 10


def test_a_slowed_fan_feeds_back_into_the_capacitor_and_the_chopper_holds_it() -> None:
    plant = turning("cooling-fan")
    peak = max(drive(plant, 0.3, 1).bus_v for _ in range(200))
    assert 14.0 < peak <= CHOPPER_V
    drive(plant, 0.3, 4000)
    assert plant.bus_v < 12.7


def test_wiring_drops_are_read_at_the_load() -> None:
    plant = drive(powered("wiring"), 0.35, 10)
    assert isinstance(plant, Wiring)
    supply = (plant.leg_a_v - plant.sensor_a_v) / plant.current_a
    ground = (plant.sensor_b_v - plant.leg_b_v) / plant.current_a
    # 2.5 m of 16 AWG at 13.175 mohm/m (ASTM B258 geometry), 3 % more when stranded, and a contact
    for ohm in (supply, ground):
        assert ohm == pytest.approx(2.5 * 0.013175 * 1.03 * 1.012 + 0.004, rel=0.15)
    worse = drive(powered("wiring", "ground_resistance=0.2"), 0.35, 10)
    assert (worse.sensor_b_v - worse.leg_b_v) / worse.current_a == pytest.approx(ground + 0.2, rel=0.02)


def test_bad_crimp_wanders_under_load_only() -> None:
    def spread(*faults: str) -> float:
        plant = powered("wiring", *faults)
        seen = []
        for _ in range(1000):
            drive(plant, 0.35, 1)
            seen.append((plant.leg_a_v - plant.sensor_a_v) / plant.current_a)
        return float(np.std(seen))

    assert spread("bad_crimp") > 50 * max(spread(), 1e-6)


@pytest.mark.parametrize("part", ["throttle-body", "fuel-pump", "solenoid"])
def test_energy_is_not_made(part: str) -> None:
    """What the supply gave must cover what copper alone has burnt."""
    plant = powered(part)
    given = burnt = 0.0
    for n in range(2000):
        plant.advance(0.5 if n < 1500 else 0.0, True, 2)
        given += plant.bus_v * 0.5 * plant.current_a * 1e-3 if n < 1500 else 0.0
        burnt += plant.current_a**2 * plant._loop_ohm * 1e-3
    assert 0 < burnt < 1.01 * given

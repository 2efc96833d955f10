"""Leads that touch: what bridge, bus and comparator make of a load of a few milliohm and microhenry."""

from __future__ import annotations

import math

from strokebench.sim.plants.base import PWM_HZ, Plant
from strokebench.sim.plants.pieces import ripple

LEADS_OHM = 0.03
LEADS_H = 2e-6  # about 1 m of leads, there and back
CUT_DELAY_S = 1.7e-6  # amplifier, comparator and driver of the circuit's design note


def advance_shorted(plant: Plant, drive: float, gate: bool, rail: int, dt_s: float = 1e-3) -> None:
    """Let ``plant`` go on by one tick with its leads touching; its current is then that of the short."""
    plant.advance(0.0, gate, rail, dt_s)
    duty = abs(drive)
    if not gate or not duty:
        return
    sign, bus_v = math.copysign(1.0, drive), plant.bus_v
    feed_ohm = plant.source_ohm if rail == 2 else 0.0
    ohm = LEADS_OHM + plant._bridge_ohm + duty * duty * feed_ohm
    mean = duty * bus_v / ohm
    peak = mean + 0.5 * ripple.peak_to_peak_a(bus_v, duty, ohm, LEADS_H, PWM_HZ)
    plant.cycles_cut = 0
    if peak > plant.trip_a:
        # on until the comparator acts, then down through the low sides to the next cycle
        on_s = LEADS_H * plant.trip_a / bus_v + CUT_DELAY_S if bus_v > 0 else 0.0
        mean = min(mean, bus_v / ohm * on_s * PWM_HZ)
        peak = plant.trip_a + CUT_DELAY_S * bus_v / LEADS_H
        plant.cycles_cut = round(dt_s * PWM_HZ)
        duty = on_s * PWM_HZ
    plant.current_a = sign * mean
    plant.current_max_a = peak if sign > 0 else 0.0
    plant.current_min_a = -peak if sign < 0 else 0.0
    if rail == 2:
        plant.bus_v = plant.vin_v = plant.source_v - plant.source_ohm * duty * mean
    else:
        plant.bus_v = max(0.0, bus_v - duty * mean * dt_s / plant._bus_f)
    plant.leg_a_v = max(0.0, 0.5 * drive * plant.bus_v)
    plant.leg_b_v = max(0.0, -0.5 * drive * plant.bus_v)

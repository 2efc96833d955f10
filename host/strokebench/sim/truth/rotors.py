"""Truths of motors that turn without end, and of the wires before them."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from strokebench.physics.copper import resistance_at, resistance_ratio
from strokebench.sim.plants.rotary import Rotary
from strokebench.sim.truth.common import Specimen

RPM = 60 / (2 * np.pi)

MEANS = {
    "speed": "speed of the rotor in the middle of the span that the finding was read from",
    "motor_constant": "volts per speed, mean over the turn",
    "loop_resistance": "resistance of the winding at 20 C with the mean flicker of the brushes,"
    " plus all leads and the bench's shunt behind the outputs, without brush drop",
    "pump_resistance": "loop resistance without leads and harness",
    "brush_drop": "voltage of the brushes at the highest current, minus the share that is"
    " proportional to the current",
    "drag": "dry torque of load and bearings towards zero speed, without the torque for breaking away",
    "load_torque": "all torque that brakes the rotor at rated speed",
    "load_rise": "load torque at rated speed minus load torque at half of it",
    "low_speed_loss": "share of the load torque at rated speed that is proportional to the speed"
    " (first family only: the load of the second has no such term)",
    "supply_side": "resistance of wire, contacts and half of the bench's leads before the load, at their "
    "temperature",
    "ground_side": "resistance of wire, contacts and half of the bench's leads behind the load, at their "
    "temperature",
}


def truths(specimen: Specimen) -> dict[str, float]:
    """Return the truths of a rotor by finding."""
    plant, turner = specimen.plant, specimen.plant.turner
    first = isinstance(plant, Rotary)
    rated = specimen.profile.nominal.get("rated_rpm", math.nan) / RPM
    flicker = float(np.mean(plant._bounce))
    bars = float(np.mean([cell[1] for cell in plant._cells]))
    winding = resistance_at(turner.resistance_ohm * (bars + flicker), 25.0, 20.0)
    harness = getattr(plant, "supply_ohm", 0.0) + getattr(plant, "ground_ohm", 0.0)
    leads = harness or plant.conditions.lead_ohm
    shunt_ohm = plant.conditions.stage.sensed_ohm
    load = _law(turner, first)
    found = {
        "motor_constant": turner.k_si,
        "loop_resistance": winding + leads + shunt_ohm,
        "brush_drop": turner.brush_v if first else turner.drop_v,
        "drag": 1e3 * load(0.0),
        "load_torque": 1e3 * load(rated),
        "load_rise": 1e3 * (load(rated) - load(rated / 2)),
    }
    if harness:
        found |= {"supply_side": 1e3 * plant.supply_ohm, "ground_side": 1e3 * plant.ground_ohm}
        found["pump_resistance"] = winding + shunt_ohm
    if first and "low_speed_loss" in specimen.found:
        found["low_speed_loss"] = 100 * turner.viscous_nms * rated / load(rated)
    speed = true_speed(specimen)
    return found | ({"speed": speed} if speed else {})


def _law(turner: Any, first: bool) -> Any:
    if first:
        return lambda w: turner.dry_nm + turner.viscous_nms * w + turner.flow_nms2 * w * w
    return turner.load_nm


def true_speed(specimen: Specimen) -> float | None:
    """Return the speed in rpm amid the span of the finding "speed", None where it was not seen."""
    finding = specimen.found.get("speed")
    if finding is None or finding.span_s is None or not specimen.seen:
        return None
    times_s, speeds = zip(*specimen.seen, strict=True)
    return float(np.interp((finding.span_s[0] + finding.span_s[1]) / 2, times_s, speeds)) * RPM


def wires(specimen: Specimen) -> dict[str, float]:
    """Return the truths of a circuit of wires and a test load."""
    plant = specimen.plant
    circuit, warm = plant.circuit, resistance_ratio(25.0, plant.winding_c)
    ground = circuit.ground_ohm * warm
    found = {
        "supply_side": 1e3 * circuit.supply_ohm * warm,
        "ground_side": 1e3 * ground / (1 + ground * circuit.touch_s),
    }
    if circuit.crimp_ohm:
        del found["supply_side"]
    if not hasattr(circuit, "warms"):
        stage = plant.conditions.stage
        found["wire_load"] = plant._loop_ohm - stage.bridge_ohm + stage.sensed_ohm
    return found

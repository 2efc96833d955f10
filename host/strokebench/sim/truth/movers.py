"""Truths of motors that move something between two stops."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from strokebench.sim.plants.base import PWM_HZ
from strokebench.sim.plants.pieces.spring import torque_nm
from strokebench.sim.plants.positioner import Positioner
from strokebench.sim.truth import sensor
from strokebench.sim.truth.common import Floats, Specimen, winding_ohm

BEYOND_REST, BEYOND_SEAT, BEFORE_STOP = 0.04, 0.07, 0.97
"""Share of travel: the opening side begins so far beyond rest or seat, and ends there."""

MEANS = {
    "inductance": "reactance of the winding at the PWM's frequency, divided by its angular frequency",
    "motor_constant": "volts per speed of the shaft, gear included",
    "friction": "all Coulomb friction divided by the motor constant, at no speed, mean of the opening side",
    "friction (no sensor)": "all Coulomb friction divided by the motor constant, at no speed, mean"
    " of 6 to 97 % of the travel",
    "hysteresis": "friction divided by the mean spring torque at the same places",
    "preload_open": "value at rest of the line through the spring's torque on the opening side,"
    " divided by the motor constant",
    "spring_slope": "rise of that line over the travel, divided by the motor constant",
    "preload_close": "spring's torque half way between closed stop and rest, divided by the motor constant",
    "breakaway_open": "spring's torque plus static friction, 1 % of travel beyond rest, divided by the motor "
    "constant",
    "seat_sticking": "static friction at the seat minus Coulomb friction of the opening side, divided by the "
    "latter",
    "travel (no sensor)": "the motor's way between the stops times the motor constant, divided by"
    " the nominal product. The stops are pressed with the push of a stalled stroke minus the friction, so "
    "play and the give of gear and stops are included",
}


class Shaft:
    """A mover of either family as curves over the share of its travel."""

    def __init__(self, plant: Any) -> None:
        self.plant, self.mover = plant, plant.mover
        self.first = isinstance(plant, Positioner)
        self.rest = self.mover.spring.rest_rad / self.mover.travel_rad

    def spring_nm(self, share: Floats) -> Floats:
        """Torque of the springs towards closed."""
        angle = share * self.mover.travel_rad
        return torque_nm(self.mover.spring, angle) if self.first else self.mover.spring.torque_nm(angle)

    def dry_nm(self, share: Floats, static: bool = False) -> Floats:
        """Coulomb or static friction of all that slides."""
        from strokebench.sim.plants import positioner
        from strokebench.sim.second import mover as second

        angles = (positioner if self.first else second).grid(self.mover.travel_rad)
        if self.first:
            levels = np.array([level for _, _, level in self.plant._cells])
            dry = np.interp(share * self.mover.travel_rad, angles[: len(levels)], levels)
        else:
            load = np.interp(share * self.mover.travel_rad, angles, self.plant.level_nm)
            motor = self.mover.motor_share * self.mover.coulomb_nm
            dry = load + motor + self.mover.loaded * np.abs(self.spring_nm(share))
        return np.asarray(dry * (self.mover.stiction if static else 1.0))

    @property
    def reactance_h(self) -> float:
        """Inductance as the PWM sees it."""
        if self.first:
            return float(self.mover.inductance_h)
        turn = 2 * math.pi * PWM_HZ
        impedance = self.plant._loop_ohm + 1j * turn * complex(self.plant.inductance_at(PWM_HZ))
        return math.sqrt(abs(impedance) ** 2 - self.plant._loop_ohm**2) / turn


def truths(specimen: Specimen) -> dict[str, float]:
    """Return the truths of a mover by finding."""
    shaft = Shaft(specimen.plant)
    found = {
        "winding_resistance": winding_ohm(specimen, shaft.mover.resistance_ohm),
        "inductance": 1e3 * shaft.reactance_h,
    }
    if not specimen.profile.tracks:
        return found | _without_sensor(shaft, specimen)
    lowest = shaft.mover.lowest_rad / shaft.mover.travel_rad
    return (
        found
        | {"motor_constant": shaft.mover.k_si}
        | _torques(shaft, specimen)
        | sensor.truths(specimen, lowest)
    )


def _without_sensor(shaft: Shaft, specimen: Specimen) -> dict[str, float]:
    nominal, mover = specimen.profile.nominal, shaft.mover
    whole = nominal["motor_constant"] * math.radians(nominal["travel_deg"])
    everywhere = np.linspace(0.06, 0.97, 92)
    way_rad = mover.travel_rad + _gives_rad(shaft, specimen)
    return {
        "travel": 100 * mover.k_si * way_rad / whole,
        "friction": float(np.mean(shaft.dry_nm(everywhere))) / mover.k_si,
    }


def _gives_rad(shaft: Shaft, specimen: Specimen) -> float:
    """By how much the motor goes further than from touch to touch, pressed into either stop."""
    mover = shaft.mover
    samples = specimen.run.samples
    drive = np.abs(samples["drive"])
    if not np.isfinite(drive).any():
        return 0.0  # never pressed against anything
    push_nm = mover.k_si * float(np.percentile(np.abs(samples["current_a"][drive > 0.95 * drive.max()]), 90))
    push_nm = max(push_nm - float(np.mean(shaft.dry_nm(np.linspace(0, 1, 50)))), 0.0)
    per_nm = 1 / mover.stop_nm_per_rad
    if shaft.first:
        return float(2 * push_nm * per_nm)
    return float(2 * push_nm * (per_nm + 1 / mover.gear_nm_per_rad) + mover.play_rad)


def _torques(shaft: Shaft, specimen: Specimen) -> dict[str, float]:
    mover, k = shaft.mover, shaft.mover.k_si
    seated = mover.spring.close_preload_nm == 0.0
    side = np.linspace(shaft.rest + (BEYOND_SEAT if seated else BEYOND_REST), BEFORE_STOP, 200)
    dry_nm, spring_nm = float(np.mean(shaft.dry_nm(side))), shaft.spring_nm(side)
    slope, preload = np.polyfit(side - shaft.rest, spring_nm, 1)
    leaving = np.array([shaft.rest + 0.01])
    static_nm = float(shaft.dry_nm(leaving, static=True)[0])
    found = {
        "friction": dry_nm / k,
        "hysteresis": 100 * dry_nm / float(np.mean(spring_nm)),
        "preload_open": float(preload) / k,
        "spring_slope": float(slope) / k,
        "breakaway_open": (float(shaft.spring_nm(leaving)[0]) + static_nm) / k,
    }
    if seated:
        seat_nm = float(shaft.dry_nm(np.zeros(1), static=True)[0])
        return found | {"seat_sticking": 100 * (seat_nm / dry_nm - 1)}
    return found | {"preload_close": -float(shaft.spring_nm(np.array([shaft.rest / 2]))[0]) / k}

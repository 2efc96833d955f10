"""Wiring under load: supply wire, a resistive test load at its far end, ground wire back.

Sensor input A sits on the load's plus, B on its minus, both against the bench's ground; the inputs end at 5
V, so the drop of the supply side is to be read at a low drive (means are linear).  Wire by gauge and length.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from strokebench.bench.spec import SimSpec
from strokebench.physics.copper import resistance_ratio
from strokebench.sim.faults import WEAK_BATTERY, Fault, FaultKind, parse_all
from strokebench.sim.plants.base import PWM_HZ, Conditions, Plant, conditions_of
from strokebench.sim.plants.pieces import ripple
from strokebench.sim.plants.pieces.harness import side_faults, side_ohm
from strokebench.sim.plants.pieces.spread import about
from strokebench.sim.plants.pieces.winding import SLOW_TICKS

GAUGE = 16
LENGTH_M = 2.5
LOAD_OHM = 1.2
LOAD_H = 3e-6
CONTACT_OHM = 0.004
NOISE_BLOCK = 4096

FAULTS = (
    *side_faults(0.08, 0.3),
    FaultKind(
        "bad_crimp", "a crimp makes and breaks under load", "ohms it varies by, supply side", 0.08, 0.3
    ),
    FaultKind("open_wire", "a wire is broken", "no matter", 1, 1),
    FaultKind(
        "chafed_ground",
        "the load's minus touches the body",
        "conductance of the touch, 1: 0.1 ohm",
        1.0,
        10.0,
    ),
    WEAK_BATTERY,
)


@dataclass(frozen=True)
class Circuit:
    """Resistances in ohm at 25 C; ``crimp_ohm`` is the range over which a bad crimp wanders."""

    supply_ohm: float
    ground_ohm: float
    load_ohm: float
    crimp_ohm: float = 0.0
    touch_s: float = 0.0


class FarEnd(Plant):
    """Wires to a load whose plus is watched by sensor input A and whose minus by B."""

    def __init__(self, conditions: Conditions) -> None:
        super().__init__(conditions)
        self._slow_ticks = 0

    def _settle(
        self, gate: bool, live: bool, rail: int, dt_s: float, amps: float, out_ohm: float, back_ohm: float
    ) -> None:
        """End the tick: bus, legs, what A and B read across ``out_ohm`` and ``back_ohm``, the heatsink."""
        self._settle_bus(self._drive * amps, rail, dt_s)
        if gate:
            self._drive_legs(self._drive, amps)
            self.sensor_b_v = self.leg_b_v + amps * back_ohm
            self.sensor_a_v = self.leg_a_v - amps * out_ohm if live else 0.0
        else:
            self._float_legs(0.0)
            self.sensor_a_v = self.leg_a_v if self.connected else 0.0
            self.sensor_b_v = self.leg_b_v
        self._slow_ticks += 1
        if self._slow_ticks == SLOW_TICKS:
            self._warm_sink(SLOW_TICKS * dt_s)
            self._slow_ticks = 0


class Wiring(FarEnd):
    """A resistive circuit: no state but the crimp's mood."""

    def __init__(self, conditions: Conditions, circuit: Circuit, rng: np.random.Generator) -> None:
        super().__init__(conditions)
        self.circuit = circuit
        self._inductance_h = LOAD_H
        # a crimp that is good for a while and bad for a while: smoothed noise through a threshold
        raw = np.convolve(rng.normal(0, 1, NOISE_BLOCK), np.ones(12) / 12, "same")
        self._mood = (np.clip(raw * 3, 0, 1) * rng.uniform(0.5, 1, NOISE_BLOCK)).tolist()
        self._turn = 0

    def advance(self, drive: float, gate: bool, rail: int, dt_s: float = 0.001) -> None:
        circuit = self.circuit
        live = gate and self.connected and not self.leads_off
        source_v, source_ohm = (self.bus_v, 0.0) if self._pumped else (self.source_v, self.source_ohm)
        self._bridge_v = source_v
        self._turn = (self._turn + 1) % NOISE_BLOCK
        warm = resistance_ratio(25.0, self.winding_c)
        ground = circuit.ground_ohm * warm
        back = ground / (1 + ground * circuit.touch_s)
        out = circuit.supply_ohm * warm + circuit.crimp_ohm * self._mood[self._turn]
        self._loop_ohm = out + circuit.load_ohm + back + self._bridge_ohm
        self._drive = drive if live else 0.0
        amps = self._drive * source_v / (self._loop_ohm + drive * drive * source_ohm)
        peak = source_v / self._loop_ohm
        self.cycles_cut = 20 if abs(drive) > 0 and live and peak > self.trip_a else 0
        half = 0.5 * ripple.peak_to_peak_a(source_v, abs(self._drive), self._loop_ohm, LOAD_H, PWM_HZ)
        if self.cycles_cut:
            amps *= self.trip_a / peak
        self.current_a = amps
        top = min(peak, self.trip_a) if live and drive else 0.0
        self.current_max_a = max(amps, top if drive > 0 and half else amps)
        self.current_min_a = min(amps, -top if drive < 0 and half else amps)
        self._nodes = (amps, amps)
        self._settle(gate, live, rail, dt_s, amps, out, back)


def circuit_values(faults: Sequence[Fault], rng: np.random.Generator) -> dict[str, float]:
    """Return the wires and load of a specimen with its defects, by the names of :class:`Circuit`."""
    values = {
        "supply_ohm": side_ohm(GAUGE, LENGTH_M, CONTACT_OHM, 0.6, rng),
        "ground_ohm": side_ohm(GAUGE, LENGTH_M, CONTACT_OHM, 0.6, rng),
        "load_ohm": about(LOAD_OHM, 0.05, rng),
    }
    for fault in faults:
        if fault.name in ("supply_resistance", "ground_resistance"):
            values[fault.name.replace("resistance", "ohm")] += fault.size
        elif fault.name == "bad_crimp":
            values["crimp_ohm"] = fault.size
        elif fault.name == "chafed_ground":
            values["touch_s"] = 10.0 * fault.size
    return values


def build(spec: SimSpec) -> Wiring:
    """Return the circuit that ``spec`` asks for; UsageError for unknown faults."""
    faults = parse_all(spec.faults, spec.part, FAULTS)
    values = circuit_values(faults, np.random.default_rng((spec.seed, 1)))
    conditions = conditions_of(spec, faults, np.random.default_rng((spec.seed, 2)))
    plant = Wiring(conditions, Circuit(**values), np.random.default_rng((spec.seed, 3)))
    plant.connected = not any(fault.name == "open_wire" for fault in faults)
    return plant

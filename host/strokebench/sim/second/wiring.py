"""Wiring under load, second family: a test load that warms and has inductance, contacts that are restless.

Wire by gauge and length, contacts and defects are the first family's: copper is copper. The load is a wound
resistor whose resistance rises by up to 15 % within half a second at full power (engineering judgement), each
side's contact wanders by some 2 % of itself with a memory, and a charger may hang on the battery.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from strokebench.bench.spec import SimSpec
from strokebench.physics.copper import resistance_ratio
from strokebench.sim.faults import parse_all
from strokebench.sim.plants.base import PWM_HZ, Conditions, conditions_of
from strokebench.sim.plants.pieces import ripple
from strokebench.sim.plants.wiring import CONTACT_OHM, FarEnd, circuit_values
from strokebench.sim.plants.wiring import FAULTS as FAULTS
from strokebench.sim.second.supply import Charger, any_charger, coloured

NOISE_BLOCK = 8191
RATED_W = 120.0


@dataclass(frozen=True)
class Circuit:
    """Resistances in ohm at 25 C; ``crimp_ohm`` is the range over which a bad crimp wanders."""

    supply_ohm: float
    ground_ohm: float
    load_ohm: float
    load_h: float
    warms: float
    warm_s: float
    crimp_ohm: float = 0.0
    touch_s: float = 0.0


class Wires(FarEnd):
    """The load's own warmth and the contacts' moods are all its state."""

    def __init__(
        self, conditions: Conditions, circuit: Circuit, charger: Charger, rng: np.random.Generator
    ) -> None:
        super().__init__(conditions)
        self.circuit, self.charger = circuit, charger
        self.supply_ohm, self.ground_ohm = circuit.supply_ohm, circuit.ground_ohm
        self._inductance_h = circuit.load_h
        restless = 0.02 * CONTACT_OHM * coloured(NOISE_BLOCK, (0.001, 0.01, 0.1), rng)
        crimp = np.clip(0.5 + coloured(NOISE_BLOCK, (0.002, 0.02), rng), 0, 1) * circuit.crimp_ohm
        self._mood: list[float] = (restless + crimp).tolist()
        self._at = 0
        self._warm = self._time_s = 0.0

    def advance(self, drive: float, gate: bool, rail: int, dt_s: float = 0.001) -> None:
        circuit = self.circuit
        battery_v = self.source_v
        self.source_v = battery_v + self.charger.volts(self._time_s)
        self._time_s += dt_s
        live = gate and self.connected and not self.leads_off
        source_v, source_ohm = (self.bus_v, 0.0) if self._pumped else (self.source_v, self.source_ohm)
        self._bridge_v = source_v
        self._at = (self._at + 1) % NOISE_BLOCK
        copper = resistance_ratio(25.0, self.winding_c)
        ground = circuit.ground_ohm * copper
        back = ground / (1 + ground * circuit.touch_s)
        out = circuit.supply_ohm * copper + self._mood[self._at]
        load = circuit.load_ohm * (1.0 + self._warm)
        self._loop_ohm = out + load + back + self._bridge_ohm
        self._drive = drive if live else 0.0
        amps = self._drive * source_v / (self._loop_ohm + drive * drive * source_ohm)
        peak = source_v / self._loop_ohm
        self.cycles_cut = 20 if abs(drive) > 0 and live and peak > self.trip_a else 0
        half = 0.5 * ripple.peak_to_peak_a(source_v, abs(self._drive), self._loop_ohm, circuit.load_h, PWM_HZ)
        if self.cycles_cut:
            amps *= self.trip_a / peak
        self._warm += dt_s / circuit.warm_s * (circuit.warms * amps * amps * load / RATED_W - self._warm)
        self.current_a = amps
        self.current_max_a = min(amps + half, self.trip_a)
        self.current_min_a = max(amps - half, -self.trip_a)
        nodes = [amps]
        nodes.append(amps)
        self._nodes = nodes
        self._settle(gate, live, rail, dt_s, amps, out, back)
        self.source_v = battery_v


def build(spec: SimSpec) -> Wires:
    """Return the circuit that ``spec`` asks for; UsageError for unknown faults."""
    faults = parse_all(spec.faults, spec.part, FAULTS)
    rng = np.random.default_rng((spec.seed, 11))
    values = circuit_values(faults, rng) | {
        "load_h": float(np.exp(rng.uniform(np.log(3e-6), np.log(60e-6)))),
        "warms": float(rng.uniform(0.0, 0.15)),
        "warm_s": float(rng.uniform(0.2, 0.8)),
    }
    conditions = conditions_of(spec, faults, np.random.default_rng((spec.seed, 2)))
    charger = any_charger(np.random.default_rng((spec.seed, 12)))
    plant = Wires(conditions, Circuit(**values), charger, np.random.default_rng((spec.seed, 3)))
    plant.connected = not any(fault.name == "open_wire" for fault in faults)
    return plant

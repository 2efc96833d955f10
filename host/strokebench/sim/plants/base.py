"""What every simulated part offers, and the bench around it: battery, bus capacitor, bridge, heatsink.

A plant advances in ticks of 1 ms.  Currents, voltages and temperatures are plain attributes (SI units, C),
means over the last tick unless the name says otherwise.  PWM is averaged; its ripple is put back exactly
where somebody looks for it (peaks of a tick, bursts), because a linear winding's response is the sum of both.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from strokebench.bench.spec import SimSpec
from strokebench.sim.faults import Fault
from strokebench.sim.plants.pieces import ripple
from strokebench.sim.plants.stage import REFERENCE, STAGES, Stage

PWM_HZ = 20_000.0
FET_OHM, SHUNT_OHM, BRIDGE_OHM = REFERENCE.fet_ohm, REFERENCE.shunt_ohm, REFERENCE.bridge_ohm
DIODE_V = 0.8  # body diode of a FET
BUS_F, PRECHARGE_OHM, BLEED_OHM = REFERENCE.bus_f, REFERENCE.precharge_ohm, REFERENCE.bleed_ohm
CHOPPER_V = REFERENCE.clamp_v
FLOAT_SHARE = (
    0.4075  # of the bus, where 100 k pull-ups and -downs with the 207 k sense divider leave a floating leg
)
SUBSTEPS = 4


@dataclass(frozen=True)
class Conditions:
    """What surrounds the part: battery (open circuit, resistance with leads), leads to it, warmth, bench."""

    supply_v: float = 12.6
    source_ohm: float = 0.02
    lead_ohm: float = 0.05
    ambient_c: float = 23.0
    stage: Stage = REFERENCE


def conditions_of(spec: SimSpec, faults: Iterable[Fault], rng: np.random.Generator) -> Conditions:
    """Return the conditions of ``spec``, undefined ones drawn from the ordinary, weak battery and bad leads
    added.
    """
    drawn_source, drawn_lead = rng.uniform(0.012, 0.030), rng.uniform(0.03, 0.08)
    supply_v = spec.supply_v
    source_ohm = drawn_source if spec.source_ohm is None else spec.source_ohm
    lead_ohm = drawn_lead if spec.lead_ohm is None else spec.lead_ohm
    for fault in faults:
        if fault.name == "weak_battery":
            supply_v = min(supply_v, 12.5 - 0.65 * fault.size)
            source_ohm += 0.18 * fault.size
        elif fault.name == "lead_resistance":
            lead_ohm += fault.size
    return Conditions(supply_v, source_ohm, lead_ohm, spec.ambient_c, STAGES[spec.bench])


class Plant:
    """A part on the bench; sub-classes implement :meth:`advance`.

    ``trip_a`` is the comparator's level (cycles are cut when the current's peak reaches it); ``cycles_cut``
    counts PWM cycles cut in the last tick.  ``connected`` tells whether the part joins its two wires;
    ``leads_off`` that the bench's leads are off it.  ``good_feed_v`` is what the sensor feed gives when
    nothing is wrong.  ``fine``: a burst is being taken, so steps are wanted that show fast texture.
    """

    current_a = current_max_a = current_min_a = 0.0
    bus_v = vin_v = leg_a_v = leg_b_v = 0.0
    sensor_a_v = sensor_b_v = 0.0
    feed_v = 5.0
    cycles_cut = 0
    trip_a = math.inf
    connected = True
    leads_off = False
    fine = False
    good_feed_v = 5.0

    def __init__(self, conditions: Conditions) -> None:
        self.conditions = conditions
        stage = conditions.stage
        self._fet_ohm, self._bridge_ohm = stage.fet_ohm, stage.bridge_ohm
        self._before_a_ohm = stage.fet_ohm + (stage.shunt_ohm - stage.sensed_ohm)
        self._bus_f, self._precharge_ohm, self._bleed_ohm = stage.bus_f, stage.precharge_ohm, stage.bleed_ohm
        self.clamp_v, self._returns = stage.clamp_v, stage.returns
        self.charged = stage.charged  # the bus is charged through its resistor even with the main switch open
        self._sink_k_per_w, self._sink_j_per_k = stage.sink_k_per_w, stage.sink_j_per_k
        self.source_v = conditions.supply_v
        self.source_ohm = conditions.source_ohm
        self.vin_v = conditions.supply_v
        self.heatsink_c = self.part_c = self.winding_c = conditions.ambient_c
        self._pumped = True  # the bus stands on its capacitor, not on the source
        self._loop_ohm = 1.0
        self._inductance_h = 1e-3
        self._drive = 0.0
        self._bridge_v = 0.0
        self._nodes: Sequence[float] = (0.0,) * (SUBSTEPS + 1)

    def advance(self, drive: float, gate: bool, rail: int, dt_s: float = 0.001) -> None:
        """Go on by ``dt_s`` with the bridge at ``drive`` (-1..1), FETs off when not ``gate``, supply by
        ``rail`` (0 open, 1 through the precharge resistor, 2 main switch closed).
        """
        raise NotImplementedError

    def waveform(self, channel: str, rate_hz: float, count: int, start_s: float = 0.0) -> NDArray[np.float64]:
        """Return ``count`` samples of the last tick from ``start_s`` on, PWM ripple included.

        ``channel``: "current" (A), or any attribute of the plant such as "bus_v" (its mean over the tick).
        """
        time_s = start_s + np.arange(count) / rate_hz
        if channel == "current":
            mean = np.interp(
                time_s, np.arange(len(self._nodes)) * (1e-3 / (len(self._nodes) - 1)), self._nodes
            )
            wave = ripple.shape_a(
                time_s, self._bridge_v, abs(self._drive), self._loop_ohm, self._inductance_h, PWM_HZ
            )
            return mean + math.copysign(1.0, self._drive) * wave
        if channel == "bus_v":
            return self.bus_v + ripple.bus_v(
                time_s, self.current_a * self._drive, abs(self._drive), self._bus_f, PWM_HZ
            )
        return np.full(count, float(getattr(self, channel)))

    def _settle_bus(self, input_a: float, rail: int, dt_s: float) -> None:
        """Close the tick on the supply side: ``input_a`` is the mean current that the bridge took.

        While the source feeds, the bus follows it at once; fed back into, it is a capacitor, because the
        ideal diode at the input lets nothing out.
        """
        source_v = self.source_v
        if rail == 2 and not self._pumped and (input_a >= 0.0 or self._returns):
            self.bus_v = self.vin_v = source_v - self.source_ohm * input_a
            return
        bus_v = self.bus_v - (input_a + self.bus_v / self._bleed_ohm) * dt_s / self._bus_f
        taken_a = 0.0
        if (rail == 1 or (self.charged and rail == 0)) and bus_v < source_v:
            taken_a = (source_v - bus_v) / self._precharge_ohm
            bus_v += taken_a * dt_s / self._bus_f
        elif rail == 2 and (bus_v <= source_v or self._returns):
            bus_v = source_v
        self._pumped = rail != 2 or bus_v > source_v
        self.bus_v = min(max(bus_v, 0.0), self.clamp_v)
        self.vin_v = source_v - self.source_ohm * taken_a

    def _drive_legs(self, drive: float, mean_a: float) -> None:
        """Mean leg voltages while the bridge switches."""
        drop_v, drop_a_v = self._fet_ohm * mean_a, self._before_a_ohm * mean_a
        if drive >= 0.0:
            self.leg_a_v, self.leg_b_v = drive * self.bus_v - drop_a_v, drop_v
        else:
            self.leg_a_v, self.leg_b_v = -drop_a_v, -drive * self.bus_v + drop_v

    def _float_legs(self, emf_v: float) -> None:
        """Leg voltages with all FETs off; ``emf_v`` is what the part puts between them."""
        middle = FLOAT_SHARE * self.bus_v
        self.leg_a_v, self.leg_b_v = middle + 0.5 * emf_v, middle - 0.5 * emf_v

    def _warm_sink(self, dt_s: float) -> None:
        watts = 0.15 + self._bridge_ohm * self.current_a * self.current_a
        self.heatsink_c += (
            dt_s
            / self._sink_j_per_k
            * (watts - (self.heatsink_c - self.conditions.ambient_c) / self._sink_k_per_w)
        )

"""What every part with one copper winding does alike at the end of a tick: legs, bus, peaks, warmth."""

from __future__ import annotations

from dataclasses import dataclass

from strokebench.physics.copper import resistance_ratio
from strokebench.sim.plants.base import Conditions, Plant

SLOW_TICKS = 16
"""Temperatures, and the resistances that follow them, are renewed this often."""


@dataclass(frozen=True)
class Heat:
    """Two heat stores in a row: winding to case to ambient."""

    winding_j_per_k: float
    winding_k_per_w: float
    case_j_per_k: float
    case_k_per_w: float


class Winding(Plant):
    """A plant around one winding of ``resistance_ohm`` at 25 C."""

    def __init__(self, conditions: Conditions, resistance_ohm: float, heat: Heat) -> None:
        super().__init__(conditions)
        self._resistance_ohm = resistance_ohm
        self._heat = heat
        self._amps = 0.0
        self._winding_ohm = resistance_ohm
        self._broken = False
        self._lead_ohm = self._bridge_ohm + conditions.lead_ohm
        self._square_sum = 0.0
        self._slow_ticks = 0
        self._refresh()

    def _source(self) -> tuple[float, float]:
        """Voltage and resistance behind the bridge in this tick; also looks whether the circuit is whole."""
        self._broken = self.leads_off or not self.connected
        source = (self.bus_v, 0.0) if self._pumped else (self.source_v, self.source_ohm)
        self._bridge_v = source[0]
        return source

    def _close_tick(
        self, drive: float, gate: bool, rail: int, dt_s: float, nodes: list[float], mean: float,
        half_a: float, cut: int, emf_v: float = 0.0, beside_a: float = 0.0,
    ) -> None:  # fmt: skip
        """Settle the tick: ``nodes`` currents at its sub-steps, ``half_a`` half the PWM ripple.

        ``cut``: cycles cut; ``emf_v``: what the part would put between open legs; ``beside_a``: current
        beside the winding.
        """
        live = gate and not self._broken
        self._drive = drive if live else 0.0
        self._square_sum += mean * mean
        if beside_a:
            for node in range(len(nodes)):
                nodes[node] += beside_a
            mean += beside_a
        self._nodes, self.current_a, self.cycles_cut = nodes, mean, cut
        if not live:
            half_a = 0.0
        self.current_max_a, self.current_min_a = max(nodes) + half_a, min(nodes) - half_a
        if gate:
            self._settle_bus(drive * mean, rail, dt_s)
            if cut:  # what the bridge really put out, cycles cut short
                drive = (mean * self._loop_ohm + emf_v) / max(self.bus_v, 0.1)
            self._drive_legs(drive, mean)
        else:
            self._settle_bus(-abs(mean), rail, dt_s)
            self._float_legs(0.0 if self._broken else emf_v)
        self._slow_ticks += 1
        if self._slow_ticks == SLOW_TICKS:
            self._refresh(dt_s * SLOW_TICKS)

    def _refresh(self, dt_s: float = 0.0) -> None:
        """Warm winding, case and heatsink by ``dt_s``; renew the resistances."""
        heat = self._heat
        if dt_s:
            watts = self._square_sum / SLOW_TICKS * self._winding_ohm
            across = (self.winding_c - self.part_c) / heat.winding_k_per_w
            out = (self.part_c - self.conditions.ambient_c) / heat.case_k_per_w
            self.winding_c += dt_s / heat.winding_j_per_k * (watts - across)
            self.part_c += dt_s / heat.case_j_per_k * (across - out)
            self._warm_sink(dt_s)
        self._square_sum, self._slow_ticks = 0.0, 0
        self._winding_ohm = self._resistance_ohm * resistance_ratio(25.0, self.winding_c)
        self._loop_ohm = self._winding_ohm + self._lead_ohm

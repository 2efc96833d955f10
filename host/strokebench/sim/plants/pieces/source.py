"""No part but a laboratory's gear on the bench: sources, a load resistor, resistors in place of thermistors.

For bring-up and calibration on the simulated bench. What is applied stands in plain attributes.
"""

from __future__ import annotations

from strokebench.sim.board.shorted import CUT_DELAY_S
from strokebench.sim.plants.base import DIODE_V, PWM_HZ, Conditions, Plant

LOGIC_V = 6.0
"""Supply below which the bench's own 5 V does not come up (the Pico then lives on USB)."""


class SourcePlant(Plant):
    """``source_a``: current pushed into output A and out of output B, flows only where the low sides are on;
    ``leg_source_v``: volts held at both outputs while the bridge is off, None for nothing connected;
    ``load_ohm``: resistor across the outputs, None for none; ``input_a_v``, ``input_b_v``: sensor inputs.
    """

    def __init__(self, conditions: Conditions) -> None:
        super().__init__(conditions)
        self.source_a = 0.0
        self.leg_source_v: float | None = None
        self.load_ohm: float | None = None
        self.input_a_v = self.input_b_v = 0.0
        self.drawn_a = 0.0
        """What the bridge takes from its supply, mean of the last tick."""

    def advance(self, drive: float, gate: bool, rail: int, dt_s: float = 0.001) -> None:
        """Go on by ``dt_s``; see :meth:`strokebench.sim.plants.base.Plant.advance`."""
        self.connected = self.load_ohm is not None and not self.leads_off
        self.current_max_a = self.current_min_a = 0.0
        self.cycles_cut = 0
        self.current_a = self._current(drive) if gate else 0.0
        self._drive, self._bridge_v = (drive, self.bus_v) if gate else (0.0, 0.0)
        self._nodes = (self.current_a,) * len(self._nodes)
        self.drawn_a = self.current_a * drive if gate else 0.0
        self._settle_bus(self.drawn_a, rail, dt_s)
        if gate:
            self._drive_legs(drive, self.current_a)
        else:
            self._float_legs(0.0)
            self._hold_legs()
        self.sensor_a_v, self.sensor_b_v = self.input_a_v, self.input_b_v
        if self.source_v < LOGIC_V:
            self.feed_v = 0.0
        elif self.feed_v == 0.0:
            self.feed_v = self.good_feed_v
        self._warm_sink(dt_s)

    def _current(self, drive: float) -> float:
        """Mean current; sets peaks and cut cycles. The load is taken as free of inductance."""
        if drive == 0.0:
            self.current_max_a = self.current_min_a = self.source_a
            return self.source_a
        if not self.connected or self.load_ohm is None:
            return 0.0
        peak_a = self.bus_v / (self.load_ohm + self.conditions.lead_ohm + self._bridge_ohm)
        duty = abs(drive)
        if peak_a > self.trip_a:
            duty = min(duty, CUT_DELAY_S * PWM_HZ)
            self.cycles_cut = round(PWM_HZ * 1e-3)
        sign = 1.0 if drive > 0 else -1.0
        ends = sorted((0.0 if duty < 1.0 else sign * peak_a, sign * peak_a))
        self.current_min_a, self.current_max_a = ends
        return sign * duty * peak_a

    def _hold_legs(self) -> None:
        if self.leg_source_v is None:
            return
        self.leg_a_v = self.leg_b_v = self.leg_source_v
        self.bus_v = max(self.bus_v, self.leg_source_v - DIODE_V)  # through the upper body diodes

"""A simulated laboratory around a simulated bench: what a person would connect, press and read there.

The meters read the plant's true values with errors of their own, drawn from the seed. Only for bring-up and
calibration; nothing that judges a part may look in here.
"""

from __future__ import annotations

import random
from dataclasses import dataclass

import numpy as np

from strokebench.bench.spec import SimSpec
from strokebench.link.port import Port
from strokebench.physics.ntc import temperature_c
from strokebench.sim.board.board import NTC_BETA_K, SimBoard
from strokebench.sim.plants.base import conditions_of
from strokebench.sim.plants.pieces.source import SourcePlant

METERS = {"A": (0.001, 0.002, 0.001), "V": (0.0005, 0.002, 0.001), "ohm": (0.001, 0.5, 0.1)}
"""Unit -> the simulated meters' limits of error (relative to the reading, absolute) and resolution."""
NTC = {"ntc_heatsink": "heatsink", "ntc_part": "part"}


@dataclass
class Meter:
    """One specimen of a meter: its errors stay the same."""

    gain: float
    offset: float
    resolution: float

    def show(self, true: float) -> float:
        """Return what it shows for a true value."""
        return round((true * (1 + self.gain) + self.offset) / self.resolution) * self.resolution


class Laboratory:
    """Sources, meters and hands at one simulated bench.

    ``apply`` sets a source, ``read`` looks at the meter on a channel; ``press`` and ``release`` work the
    emergency stop.
    """

    def __init__(self, spec: SimSpec) -> None:
        rng = random.Random(f"laboratory {spec.seed}")
        self.plant = SourcePlant(conditions_of(spec, (), np.random.default_rng((spec.seed, 21))))
        self.plant.good_feed_v = 5.0 + rng.uniform(-0.05, 0.05)
        self.board = SimBoard(spec, self.plant)
        self._stuck = "estop" in self.board.bench.active or any("estop" in t for t in spec.bench_faults)
        self._ohm = dict.fromkeys(NTC, 10_000.0)
        self.meters = {
            unit: Meter(rng.uniform(-gain, gain), rng.uniform(-zero, zero), step)
            for unit, (gain, zero, step) in METERS.items()
        }

    def apply(self, channel: str, value: float) -> None:
        """Bring the quantity of a channel to about ``value`` (A, V, ohm); 0 takes the source away."""
        plant = self.plant
        if channel in ("current_coarse", "current_fine"):
            plant.source_a = value
        elif channel in ("supply", "vin"):
            self.board.bench.set("supply", value)
        elif channel in ("output_a", "output_b"):
            plant.leg_source_v = value or None
        elif channel in ("sensor_a", "sensor_b"):
            setattr(plant, f"input_{channel[-1]}_v", value)
        elif channel in NTC:
            self._ohm[channel] = value
            self.board.bench.set(NTC[channel], temperature_c(value, NTC_BETA_K))
        elif channel == "feed":  # nobody can set it, but without supply it is gone
            self.board.bench.set("supply", 0.0 if value == 0 else self.board.spec.supply_v)

    def remove(self, channel: str) -> None:
        """Take the source off again; the ordinary supply is back."""
        if channel in ("supply", "vin", "feed"):
            self.board.bench.set("supply", self.board.spec.supply_v)
        elif channel in NTC:
            self.board.bench.end(NTC[channel])
        else:
            self.apply(channel, 0.0)

    def true(self, channel: str) -> float:
        """Return the true value of a channel now; for tests, and behind the meters."""
        plant = self.plant
        if channel in NTC:
            return self._ohm[channel]
        names = {
            "current_coarse": "current_a",
            "current_fine": "current_a",
            "supply": "bus_v",
            "vin": "vin_v",
            "output_a": "leg_a_v",
            "output_b": "leg_b_v",
        }
        return float(getattr(plant, names.get(channel, f"{channel}_v")))

    def read(self, channel: str, unit: str) -> float:
        """Return what the meter for ``unit`` shows on a channel."""
        return self.meters[unit].show(self.true(channel))

    def load(self, ohm: float | None) -> None:
        """Connect a resistor across the outputs; None takes it off."""
        self.plant.load_ohm = ohm

    def press(self) -> None:
        """Press the emergency stop."""
        self.board.bench.set("estop")

    def release(self) -> None:
        """Turn it out again; a line that is broken stays open."""
        if not self._stuck:
            self.board.bench.end("estop")


def open_laboratory(spec: SimSpec) -> tuple[Port, Laboratory]:
    """Return a port to a bench that stands in a laboratory, on the spec's engine, and the laboratory."""
    laboratory = Laboratory(spec)
    return _port(spec, laboratory.board), laboratory


def _port(spec: SimSpec, board: SimBoard) -> Port:
    if spec.engine == "micropython":
        from strokebench.sim.engine.micropython import MicroPythonPort

        return MicroPythonPort(spec, board)
    if spec.engine == "chip":
        from strokebench.sim.engine.chip import ChipPort

        return ChipPort(spec, board=board)
    from strokebench.sim.engine.inprocess import InProcessPort

    return InProcessPort(spec, board)

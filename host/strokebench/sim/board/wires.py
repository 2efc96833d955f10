"""A part whose plug is wired another way than drawn: which lead is on which pin, and what the bench then
reads.

The leads end on pins 1 to 7: winding plus and minus, the sensor's feed, ground, signal a and signal b, and
the case. Whatever is not the plain case of both outputs on the winding is a network of resistors, solved
anew in each millisecond: winding, tracks, inputs, the pull resistors of the outputs, the sensor feed with
its current limit.
"""

from __future__ import annotations

import random
from collections.abc import Mapping

from strokebench.physics.resistors import Resistor, node_volts
from strokebench.sim.plants.base import BRIDGE_OHM, FLOAT_SHARE, Plant

PINS = ("winding_plus", "winding_minus", "feed", "ground", "signal_a", "signal_b", "case")
"""What is on pin 1, 2 ... of a simulated plug."""
LEADS = ("out_a", "out_b", "feed", "ground", "sensor_a", "sensor_b")
DRAWN = dict(zip(LEADS, range(1, 7), strict=True))
"""Where each lead is when nothing is wrong."""
WIRE = "wire_"
CASE, PROBE = "case_short", "probe"
PULL_OHM = 40_300.0
"""Of a leg that nothing drives: 100 k up, 100 k and 207 k down."""
INPUT_OHM = 280_000.0
"""A sensor input to the bench's ground."""
FEED_OHM, FEED_MOST_A = 0.5, 0.07
"""The 5 V feed, and the current at which it gives way."""
PROBE_OHM = 4700.0
"""In the pin finder's lead; see docs/how-to/connect.md."""
WIPER_OHM = 600.0
TRACK_OHM = (1500.0, 4000.0)
"""From end to end, drawn for each specimen. Common practice for such sensors, from memory."""
PLENTY = 1e-6


def concerns(name: str) -> bool:
    """Tell whether the bench trouble ``name`` is about the wires."""
    return name.startswith(WIRE) or name in (CASE, PROBE)


class Wires:
    """The wires of one bench to one part; ``active`` are its troubles by name."""

    def __init__(self, active: Mapping[str, float], seed: int) -> None:
        self.pin_of = {lead: round(active.get(f"{WIRE}{lead}", pin)) for lead, pin in DRAWN.items()}
        self._probe = PROBE in active
        self._case_ohm = active.get(CASE)
        drawn = random.Random(f"tracks {seed}")
        self._track_ohm = [drawn.uniform(*TRACK_OHM) for _ in range(2)]
        self._tracks: int | None = None

    @property
    def turned(self) -> int:
        """1 with both outputs on the winding as drawn, -1 the other way round, 0 when they are elsewhere."""
        ends = self.pin_of["out_a"], self.pin_of["out_b"]
        others = [pin for lead, pin in self.pin_of.items() if not lead.startswith("out")]
        if {1, 2} & set(others):
            return 0
        return {(1, 2): 1, (2, 1): -1}.get(ends, 0)

    def settle(self, plant: Plant, legs: tuple[float | None, float | None], rail: int) -> None:
        """Replace what the plant says of its leads; ``legs``: volts that hold each output, None while
        floating.
        """
        if self._tracks is None:
            self._tracks = (plant.sensor_a_v > 0.0) + (plant.sensor_b_v > 0.0)
        feed_v = plant.good_feed_v if plant.feed_v == plant.feed_v else 0.0
        shares = [plant.sensor_a_v / feed_v, plant.sensor_b_v / feed_v][: self._tracks] if feed_v else []
        volts = self._volts(plant, legs, shares, feed_v, FEED_OHM)
        if abs(feed_v - volts["feed"]) > FEED_OHM * FEED_MOST_A:
            volts = self._volts(plant, legs, shares, feed_v, feed_v / FEED_MOST_A)
        plant.feed_v = volts["feed"]
        plant.sensor_a_v = max(0.0, volts["sensor_a"])
        plant.sensor_b_v = max(0.0, volts["sensor_b"])
        if self.turned == 0:
            self._settle_outputs(plant, legs, volts, rail)

    def _settle_outputs(
        self, plant: Plant, legs: tuple[float | None, float | None], volts: dict[str, float], rail: int
    ) -> None:
        plant.leg_a_v, plant.leg_b_v = max(0.0, volts["out_a"]), max(0.0, volts["out_b"])
        amps = 0.0 if legs[0] is None else (legs[0] - volts["out_a"]) / (0.5 * BRIDGE_OHM)
        plant.current_a = plant.current_max_a = plant.current_min_a = amps
        if rail != 2 and amps > 0.0:
            plant.bus_v = max(0.0, plant.bus_v - amps * 1e-3 / plant._bus_f)

    def _volts(
        self,
        plant: Plant,
        legs: tuple[float | None, float | None],
        shares: list[float],
        feed_v: float,
        feed_ohm: float,
    ) -> dict[str, float]:
        held = {"zero": 0.0, "source": feed_v, "float": FLOAT_SHARE * plant.bus_v, "ground": 0.0}
        net: list[Resistor] = [("feed", "source", feed_ohm)]
        for lead, leg_v in zip(("out_a", "out_b"), legs, strict=True):
            if leg_v is None:
                net.append((lead, "float", PULL_OHM))
            else:
                held[f"{lead} bridge"] = leg_v
                net.append((lead, f"{lead} bridge", 0.5 * BRIDGE_OHM))
        net += [(lead, "zero", INPUT_OHM) for lead in ("sensor_a", "sensor_b")]
        return node_volts([*net, *self._joins(), *self._part(plant, shares)], held)

    def _joins(self) -> list[Resistor]:
        """Leads to pins. The probe is the feed's lead behind its resistor, together with sensor input A."""
        net = [(lead, f"pin {pin}", 0.02) for lead, pin in self.pin_of.items() if pin]
        if self._probe:
            net = [each for each in net if each[0] not in ("feed", "sensor_a")]
            net.append(("feed", "sensor_a", PROBE_OHM))
            if self.pin_of["sensor_a"]:
                net.append(("sensor_a", f"pin {self.pin_of['sensor_a']}", 0.02))
        return net

    def _part(self, plant: Plant, shares: list[float]) -> list[Resistor]:
        net: list[Resistor] = []
        if plant.connected and self.turned == 0:
            net.append(("pin 1", "pin 2", _winding_ohm(plant)))
        if self._case_ohm is not None:
            net.append(("pin 1", "pin 7", max(self._case_ohm, 0.01)))
        for number, share in enumerate(shares):
            within = min(max(share, PLENTY), 1 - PLENTY)
            wiper, whole = f"wiper {number}", self._track_ohm[number]
            net += [
                ("pin 3", wiper, (1 - within) * whole),
                (wiper, "pin 4", within * whole),
                (wiper, f"pin {5 + number}", WIPER_OHM),
            ]
        return net


def _winding_ohm(plant: Plant) -> float:
    """Return what is between the part's two power pins, cold."""
    return float(getattr(plant, "_winding_ohm", 1.2))

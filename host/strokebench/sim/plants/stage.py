"""The power stages of the benches, as far as a part and the firmware feel them."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Stage:
    """Resistances in Ohm, ``bus_f`` the bulk capacitors, ``sink_`` what carries the switches' heat away.

    ``clamp_v``: what holds the bus when a part feeds back. ``returns``: the supply takes such current back.
    ``hard_trip_a``: the fixed hardware limit. ``charged``: the precharge resistor is always there, and
    both it and the main switch hang on the stop button. ``latches``: a hard latch falls at ``hard_trip_a``;
    without one its pin follows the watchdog.
    """

    fet_ohm: float = 0.0024  # one 60 V MOSFET of the bridge, warm
    shunt_ohm: float = 0.001  # in-line
    sensed_ohm: float = 0.001  # the part of it that lies between the points at which the outputs are measured
    bus_f: float = 10e-3
    precharge_ohm: float = 33.0
    bleed_ohm: float = 2700.0  # bus to ground: 2k2 and a lamp
    clamp_v: float = 17.01  # middle between the brake chopper's on and off, by the circuit twin
    returns: bool = False  # an ideal diode at the input lets nothing out
    sink_k_per_w: float = 3.0
    sink_j_per_k: float = 150.0
    hard_trip_a: float = 60.0
    charged: bool = False
    latches: bool = True

    @property
    def bridge_ohm(self) -> float:
        """Two switches and the shunt."""
        return 2 * self.fet_ohm + self.shunt_ohm


REFERENCE = Stage()
SMALL = Stage(
    fet_ohm=0.007,  # one switch of a BTN8982 class half-bridge: 10 mOhm typical for both, cold (from memory)
    shunt_ohm=0.010,
    sensed_ohm=0.0,  # OUT_A is measured behind the shunt
    bus_f=2.0e-3,
    precharge_ohm=100.0,
    clamp_v=24.4,  # no chopper: the 22 V suppressor's lowest breakdown (from memory)
    returns=True,  # its P-MOSFETs at the input conduct both ways
    sink_k_per_w=10.0,  # the small sink of a breakout module: engineering judgement, as the next
    sink_j_per_k=30.0,
    hard_trip_a=6.0,
)
BEGINNER = Stage(
    fet_ohm=0.016,  # half of the 32 mOhm that docs/beginners-bench.md allows a module's two switches, warm
    shunt_ohm=0.010,
    sensed_ohm=0.0,  # output A is measured behind the shunt
    bus_f=2.0e-3,
    precharge_ohm=68.0,
    bleed_ohm=5200.0,  # 4k7 and a lamp
    clamp_v=24.4,  # as on the small bench
    returns=True,  # a relay contact conducts both ways
    sink_k_per_w=20.0,  # a module's own copper: engineering judgement, as the next
    sink_j_per_k=15.0,
    hard_trip_a=8.0,  # the comparators' own end: hardware/beginner/values.py
    charged=True,
    latches=False,
)
STAGES = {"reference": REFERENCE, "small": SMALL, "beginner": BEGINNER}
"""By the name of the bench in a :class:`strokebench.bench.spec.SimSpec`."""

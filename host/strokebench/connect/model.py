"""What the bench would read if its leads were on these pins: a network of resistors with nominal numbers."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import TYPE_CHECKING

from strokefw import faults

from strokebench.connect import plug
from strokebench.connect.readings import LOOP_SHARE, Readings
from strokebench.physics.resistors import Resistor, node_volts

if TYPE_CHECKING:
    from strokebench.parts.profile import Profile

Wiring = Mapping[str, str]
"""Lead of the bench -> pin of the part, "" for a lead that is on no pin."""
FEED_V, FEED_MOST_A = 5.0, 0.07
BUS_V = 12.0
FLOAT, FLOAT_LOW, FLOAT_HIGH = 0.4075, 0.29, 0.54
"""Where an output floats that nothing drives, and the self-test's bounds, as shares of the supply."""
PULL_OHM, INPUT_OHM, BRIDGE_OHM = 40_000.0, 280_000.0, 0.003
TRACK_OHM, WIPER_OHM = 2500.0, 500.0
WINDING_OHM = 3.0
JOINED = 0.8
MOST_WRONG = 4
"""Leads on a wrong pin that are looked for; with more of them every lead is to be compared."""
MOST_OFF = 2
"""Leads that are on no pin at the same time, at most; a person forgets one."""


@dataclass(frozen=True)
class Part:
    """What the network needs to know: ohms of the winding, where its tracks are at rest as shares of the
    feed.
    """

    winding_ohm: float
    shares: Mapping[str, float]


def part_of(profile: Profile) -> Part:
    """Return the nominal part at rest."""
    limit = profile.limit("winding_resistance")
    known = [value for value in (limit.lower, limit.upper) if value is not None]
    rest = profile.limit("rest_position")
    at = (rest.lower + rest.upper) / 200 if rest.lower is not None and rest.upper is not None else 0.0
    return Part(sum(known) / len(known) if known else WINDING_OHM, _shares(profile, at))


def moved(profile: Profile, share: float) -> Part:
    """Return the nominal part with its mover at ``share`` of the travel, 0 closed to 1 open."""
    return replace(part_of(profile), shares=_shares(profile, share))


def _shares(profile: Profile, at: float) -> dict[str, float]:
    return {
        track: (shape.closed_v + at * (shape.open_v - shape.closed_v)) / FEED_V
        for track, shape in profile.tracks.items()
    }


def predict(part: Part, wiring: Wiring, bus_v: float = 0.0) -> Readings:
    """Return what the bench reads with its leads like this; ``bus_v``: left on the bridge's capacitors."""
    net = _network(part, wiring)
    feed_v, a_v, b_v = idle(part, wiring, bus_v)
    if feed_v < 4.75:
        return Readings(feed_v, a_v, b_v, faults.REFERENCE)
    floating = _solved(net, FLOAT * BUS_V, {})
    leg_a, leg_b = (floating[lead] / BUS_V for lead in ("out_a", "out_b"))
    if not (FLOAT_LOW <= leg_a <= FLOAT_HIGH and FLOAT_LOW <= leg_b <= FLOAT_HIGH):
        low = min(leg_a, leg_b) < FLOAT_LOW
        return Readings(feed_v, a_v, b_v, faults.LEG_LOW if low else faults.LEG_HIGH, leg_a, leg_b)
    follows = [
        _solved(net, FLOAT * BUS_V, {pulled: BUS_V})[other] / BUS_V
        for pulled, other in (("out_a", "out_b"), ("out_b", "out_a"))
    ]
    if min(follows) < JOINED:
        return Readings(feed_v, a_v, b_v, faults.OPEN_LOAD, leg_a, leg_b, min(follows))
    low_v = LOOP_SHARE * BUS_V
    loop = _solved(net, 0.0, {"out_a": low_v, "out_b": 0.0})
    amps = (low_v - loop["out_a"]) / BRIDGE_OHM
    return Readings(feed_v, a_v, b_v, 0, leg_a, leg_b, min(follows), low_v / amps if amps > 0 else math.inf)


def idle(part: Part, wiring: Wiring, bus_v: float = 0.0) -> tuple[float, float, float]:
    """Return feed, sensor input A and B in V with the bridge off."""
    volts = _solved(_network(part, wiring), round(FLOAT * bus_v, 1), {})
    return volts["feed"], volts["sensor_a"], volts["sensor_b"]


def _network(part: Part, wiring: Wiring) -> list[Resistor]:
    net: list[Resistor] = [("winding_plus", "winding_minus", part.winding_ohm)]
    for track, share in part.shares.items():
        within, wiper = min(max(share, 1e-6), 1 - 1e-6), f"wiper_{track}"
        net += [
            ("pin feed", wiper, (1 - within) * TRACK_OHM),
            (wiper, "pin ground", within * TRACK_OHM),
            (wiper, f"pin signal_{track}", WIPER_OHM),
        ]
    net = [(_pin(first), _pin(second), ohm) for first, second, ohm in net]
    net += [(lead, f"pin {pin}", 0.02) for lead, pin in wiring.items() if pin]
    return net + [(lead, "zero", INPUT_OHM) for lead in ("sensor_a", "sensor_b")]


def _pin(name: str) -> str:
    return f"pin {name}" if name.startswith("winding") else name


def _solved(net: list[Resistor], float_v: float, driven_v: Mapping[str, float]) -> dict[str, float]:
    """Return the volts of all leads; ``driven_v`` are the outputs that a MOSFET holds."""
    return _volts(tuple(net), round(float_v, 2), tuple(sorted(driven_v.items())))


@lru_cache(maxsize=50_000)
def _volts(
    net: tuple[Resistor, ...], float_v: float, driven: tuple[tuple[str, float], ...]
) -> dict[str, float]:
    """Solve it once: each check asks about the same wirings again. The table is to be read only."""
    held = {"zero": 0.0, "ground": 0.0, "source": FEED_V, "float": float_v}
    wires, driven_v = list(net), dict(driven)
    for lead in ("out_a", "out_b"):
        if lead in driven_v:
            held[f"bridge {lead}"] = driven_v[lead]
            wires.append((lead, f"bridge {lead}", BRIDGE_OHM))
        else:
            wires.append((lead, "float", PULL_OHM))
    volts = node_volts([*wires, ("feed", "source", 0.5)], held)
    if FEED_V - volts["feed"] > 0.5 * FEED_MOST_A:  # the feed gives way
        volts = node_volts([*wires, ("feed", "source", FEED_V / FEED_MOST_A)], held)
    return volts


def wirings(profile: Profile) -> Iterator[tuple[int, dict[str, str]]]:
    """Yield the ways to wire this plug with the number of leads that are not where they are drawn, few
    first.
    """
    right = {each.lead: each.pin for each in plug.drawn(profile)}
    for wrong in range(min(MOST_WRONG, len(right)) + 1):
        for leads in itertools.combinations(right, wrong):
            yield from ((wrong, each) for each in _moved(right, leads))


def _moved(right: dict[str, str], leads: tuple[str, ...]) -> Iterator[dict[str, str]]:
    """Yield the wirings in which exactly these leads are on a wrong pin, or on none."""
    pins = [right[lead] for lead in leads]
    for off in range(min(MOST_OFF, len(leads)) + 1):
        for left_out in itertools.combinations(range(len(leads)), off):
            rest = [number for number in range(len(leads)) if number not in left_out]
            for chosen in itertools.permutations(pins, len(rest)):
                placed = dict(zip((leads[number] for number in rest), chosen, strict=True))
                if all(right[lead] != pin for lead, pin in placed.items()):
                    yield {**right, **dict.fromkeys((leads[number] for number in left_out), ""), **placed}

"""What somebody with a supply, an oscilloscope and a clamp does to a part, and what that records.

Parts of the second family of simulated parts, driven by hand: no procedure of the bench is followed,
nothing of the bench measures. The instruments have errors of their own.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from strokebench.bench.spec import SimSpec
from strokebench.sim.plants import make_plant

Floats = NDArray[np.float64]
OFF = None
"""In place of a drive: switched off, the part coasts."""
Handling = Callable[[SimSpec, np.random.Generator], dict[str, Floats]]
"""What somebody does to a part, and what happens then, by our names of columns."""
Way = tuple[tuple[float, float | None], ...]
"""Corners of a drive over time: seconds since the last corner, and the drive there (straight between)."""

MOVES: Mapping[str, Way] = {
    "slow both ways": (
        (0.4, OFF), (0.4, -0.45), (6.0, 0.65), (0.3, 0.65), (6.0, -0.45), (0.3, -0.45), (0.0, OFF), (0.9,
        OFF),
    ),
    "quick both ways": (
        (0.4, OFF), (0.3, -0.45), (1.0, 0.65), (0.3, 0.65), (1.0, -0.45), (0.3, -0.45), (0.0, OFF), (0.9,
        OFF),
    ),
    "one way": ((0.4, OFF), (0.0, 0.0), (4.0, 0.65), (0.3, 0.65), (0.0, OFF), (0.9, OFF)),
    "switched by hand": (
        (0.4, OFF), (0.0, 0.65), (0.6, 0.65), (0.0, OFF), (0.9, OFF), (0.0, -0.55), (0.6, -0.55), (0.0, OFF),
        (0.9, OFF),
    ),
}  # fmt: skip
"""How a motor-driven part is moved, by the name of it. Positive opens."""
VALVE_MOVES: Mapping[str, Way] = {
    name: tuple((over_s, None if drive is None else max(drive, -0.2)) for over_s, drive in way)
    for name, way in MOVES.items()
}
"""The same for a valve that is not to be rammed into its seat."""


@dataclass(frozen=True)
class Instruments:
    """What oscilloscope and clamp are off by: the clamp's gain and zero, noise of a row, gain of the
    volts."""

    clamp_gain: float
    clamp_zero_a: float
    noise_a: float
    noise_v: float
    volts_gain: Floats

    @classmethod
    def drawn(cls, rng: np.random.Generator) -> Instruments:
        """Ordinary ones (common practice: clamps 1 to 2 %, oscilloscopes 1 to 2 % of reading)."""
        gain, volts = rng.normal(1, 0.01), rng.normal(1, 0.005, 4)
        volts = np.append(volts, volts[1])  # both outputs are probed by instruments of one make
        return cls(gain, rng.normal(0, 0.02), rng.uniform(0.003, 0.015), rng.uniform(0.002, 0.005), volts)

    def seen(self, table: dict[str, Floats], rng: np.random.Generator) -> dict[str, Floats]:
        """Return a table as they show it, with the digits that an export has."""
        out = {"time_s": table["time_s"]}
        probes = ("supply_v", "output_a_v", "sensor_a_v", "sensor_b_v", "output_b_v")
        gains = dict(zip(probes, self.volts_gain, strict=True))
        for name, values in table.items():
            if name == "current_a":
                noisy = (
                    self.clamp_gain * values + self.clamp_zero_a + rng.normal(0, self.noise_a, len(values))
                )
                out[name] = np.round(noisy, 4)
            elif name != "time_s":
                out[name] = np.round(gains[name] * values + rng.normal(0, self.noise_v, len(values)), 4)
        return out


def recorded(part: str, spec: SimSpec, way: str, volts: bool, rng: np.random.Generator) -> dict[str, Floats]:
    """Return what is recorded of a part handled in one of its ways: time_s, current_a, its sensors, and the
    volts across it and of the battery where these are probed too."""
    table = HANDLED[part][way](spec, rng)
    probed = ("output_a_v", "output_b_v") if part == "wiring" else ("output_a_v", "supply_v")
    sensors = SENSORS.get(part, ())[0 if volts or part != "wiring" else 1 :]
    names = ("time_s", "current_a", *sensors, *(probed if volts else ()))
    return Instruments.drawn(rng).seen({name: table[name] for name in names}, rng)


def _moved(way: Way) -> Handling:
    """Driven along ``way``, a row each millisecond."""

    def table(spec: SimSpec, rng: np.random.Generator) -> dict[str, Floats]:
        plant = make_plant(spec)
        drives, off = outline(way, rng)
        rows = []
        for drive, resting in zip(drives.tolist(), off.tolist(), strict=True):
            plant.advance(drive, not resting, 2)
            rows.append(
                (
                    plant.current_a,
                    plant.leg_a_v - plant.leg_b_v,
                    plant.vin_v,
                    plant.sensor_a_v,
                    plant.sensor_b_v,
                )
            )
        names = ("current_a", "output_a_v", "supply_v", "sensor_a_v", "sensor_b_v")
        columns = dict(zip(names, np.array(rows).T, strict=True))
        return {"time_s": np.arange(len(rows)) / 1000, **columns}

    return table


def _loaded(on_s: float) -> Handling:
    """A load switched on at the near end, a row each millisecond; the far ends are probed."""

    def table(spec: SimSpec, rng: np.random.Generator) -> dict[str, Floats]:
        plant = make_plant(spec)
        ends_s = 0.2 + on_s * rng.uniform(0.9, 1.1)
        rows = []
        for tick in range(round(1000 * (ends_s + 0.2))):
            on = 200 <= tick < 1000 * ends_s
            plant.advance(float(on), on, 2)
            far = (plant.sensor_a_v, plant.sensor_b_v) if on else (0.0, 0.0)
            near = (plant.leg_a_v if plant.connected else plant.vin_v, plant.leg_b_v) if on else (0.0, 0.0)
            rows.append((plant.current_a, *near, *far))
        names = ("current_a", "output_a_v", "output_b_v", "sensor_a_v", "sensor_b_v")
        columns = dict(zip(names, np.array(rows).T, strict=True))
        return {"time_s": np.arange(len(rows)) / 1000, **columns}

    return table


def _switched(on_s: float, rate_hz: float, step_s: float, fine: bool, after_s: float = 0.1) -> Handling:
    """Switched on with the battery's volts, and off again; a coil has a freewheel diode, a motor none, and
    the volts at its plug show how it runs down."""

    def table(spec: SimSpec, rng: np.random.Generator) -> dict[str, Floats]:
        plant = make_plant(spec)
        plant.fine = fine
        coil = not fine
        begins_s, ends_s = 0.1, 0.1 + on_s * rng.uniform(0.9, 1.1)
        ticks = round((ends_s + after_s) / step_s)
        times, currents, volts = [], [], np.empty((ticks, 2))
        for tick in range(ticks):
            on = begins_s <= tick * step_s + 1e-9 < ends_s
            plant.fine = fine and tick * step_s < ends_s + 0.01
            plant.advance(float(on), on or coil, 2, step_s)
            nodes = plant._nodes[1:]
            times.append((tick + np.arange(1, len(nodes) + 1) / len(nodes)) * step_s)
            currents.append(nodes)
            volts[tick] = plant.leg_a_v - plant.leg_b_v, plant.vin_v
        time_s = np.arange(round(ticks * step_s * rate_hz)) / rate_hz
        at = np.minimum((time_s / step_s).astype(int), ticks - 1)
        amps = np.interp(time_s, np.concatenate(times), np.concatenate(currents))
        return {"time_s": time_s, "current_a": amps, "output_a_v": volts[at, 0], "supply_v": volts[at, 1]}

    return table


def outline(way: Way, rng: np.random.Generator) -> tuple[Floats, NDArray[np.bool_]]:
    """Return drive and whether it is off in each millisecond; a hand is never quite at the same place."""
    pieces, off, now = [], [], 0.0
    scale = rng.uniform(0.95, 1.1)
    for over_s, drive in way:
        count = round(1000 * over_s * rng.uniform(0.9, 1.1))
        target = 0.0 if drive is None else scale * drive
        pieces.append(np.linspace(now if drive is not None else 0.0, target, count + 1)[1:])
        off += [drive is None] * count
        now = target
    return np.concatenate(pieces), np.array(off, bool)


SENSORS = {
    "throttle-body": ("sensor_a_v", "sensor_b_v"), "egr-motor": ("sensor_a_v",), "egr-solenoid":
    ("sensor_a_v",), "wiring": ("sensor_a_v", "sensor_b_v"),
}  # fmt: skip
PULLED: Way = ((0.4, OFF), (3.0, 1.0), (0.3, 1.0), (3.0, 0.0), (0.3, OFF))
BY_HAND: Way = ((0.4, OFF), (0.0, 1.0), (0.6, 1.0), (0.0, OFF), (0.9, OFF))
TO_AND_FRO: Way = (
    (0.4, OFF), *((0.0, -0.7), (0.7, -0.7), (0.0, OFF), (0.2, OFF)),
    *((0.0, 0.7), (0.7, 0.7), (0.0, OFF), (0.2, OFF)), *((0.0, -0.7), (0.7, -0.7), (0.0, OFF), (0.2, OFF)),
)  # fmt: skip
TURNED_UP: Way = (
    (0.4, OFF), (0.0, -0.7), (0.7, -0.7), (0.0, OFF), (0.2, OFF),
    *((0.05, 0.3), (0.9, 0.33), (0.3, 0.7), (0.3, 0.7), (0.0, OFF), (0.2, OFF)),
    *((0.05, -0.3), (0.9, -0.33), (0.3, -0.7), (0.3, -0.7), (0.0, OFF), (0.2, OFF)),
)  # fmt: skip
"""A motor without spring and sensor: switched to and fro, and with a supply that is turned up by hand."""
HANDLED: Mapping[str, Mapping[str, Handling]] = {
    "throttle-body": {name: _moved(way) for name, way in MOVES.items()},
    "egr-motor": {name: _moved(way) for name, way in VALVE_MOVES.items()},
    "egr-solenoid": {"slow both ways": _moved(PULLED), "switched by hand": _moved(BY_HAND)},
    "idle-actuator": {"switched to and fro": _moved(TO_AND_FRO), "turned up": _moved(TURNED_UP)},
    "solenoid": {"switched on": _switched(0.15, 10_000, 2e-4, False)},
    "wiring": {"loaded": _loaded(1.0)},
    "fuel-pump": {"switched on": _switched(1.0, 20_000, 1e-3, True, 0.3)},
    "fuel-pump-fuse": {"switched on": _switched(1.0, 20_000, 1e-3, True, 0.3)},
    "cooling-fan": {"switched on": _switched(2.0, 10_000, 1e-3, True, 2.0)},
    "water-pump": {"switched on": _switched(1.0, 20_000, 1e-3, True, 0.3)},
}
"""Part -> ways in which it is handled."""
ALWAYS = (
    "track_dead",
    "track_shorted",
    "worn_track",
    "carbon_seat",
    "bad_segment",
    "worn_brush",
    "broken_blade",
)
ONE_PROBE = ("ground_resistance", "chafed_ground")
BOTH_WAYS = ("sticky", "weak_spring")
MOTOR_RUN = ("open_winding", "blocked", "dragging", "weak_magnet", "lead_resistance")
WITH_VOLTS = {
    "throttle-body": ("open_winding", "shorted_turns", "lead_resistance"),
    "egr-motor": ("open_winding", "shorted_turns", "lead_resistance"),
    "egr-solenoid": ("open_winding", "shorted_turns", "lead_resistance"),
    "wiring": ("supply_resistance", "bad_crimp", "open_wire"),
    "idle-actuator": ("open_winding", "shorted_turns", "lead_resistance", "jammed", "short_travel"),
    "solenoid": ("open_winding", "shorted_turns", "lead_resistance"),
    "fuel-pump": (*MOTOR_RUN, "dry", "worn", "clogged"), "water-pump": (*MOTOR_RUN, "dry", "clogged"),
    "fuel-pump-fuse": (*MOTOR_RUN[:-1], "dry", "worn", "clogged"),
    "cooling-fan": (*MOTOR_RUN, "obstructed"),
}  # fmt: skip
MOTOR_MOVED = ("throttle-body", "egr-motor")
RIGHT_NAMES: Mapping[tuple[str, str], tuple[str, ...]] = {
    (name, way): (name, "no_return") for name in BOTH_WAYS for way in ("one way", "switched by hand")
}
"""Defect and way -> what it may be called: a part that stays where it is released has too much friction or
too little spring, and one way alone does not part the two."""


DROPS_V, APART = 0.5, 5
"""By so much a worn place changes a row, and so many rows are between two passings."""


def shown(part: str, name: str, way: str, volts: bool) -> bool:
    """True when the recorded channels can show a severe defect at all.

    Motor and leads need the volts; friction and spring a move both ways; a tight place a slow one; what
    sticks in its seat a slow way out of it. A coil that tells no position, and a rotor, tell by their
    current alone what repeats with the turn or flickers, and nothing of their load, magnets or spring. With
    the volts at its plug a rotor tells all, by its start and by how it runs down; at the fuse's socket the
    vehicle's own leads are in the loop, whose resistance nobody knows. Of wires the ground side needs one
    probe only.
    """
    if name == "good":
        return False
    if name in ALWAYS or (part == "wiring" and name in ONE_PROBE) or (volts and name in WITH_VOLTS[part]):
        return True
    if part in MOTOR_MOVED and name in BOTH_WAYS:
        return way in ("slow both ways", "quick both ways")
    if part in MOTOR_MOVED and name == "binding":
        return way == "slow both ways"
    if part == "idle-actuator" and name in ("sticky", "binding"):
        return volts and way == "turned up"
    return name == "sticky_seat" and way in ("slow both ways", "one way")


def jumped_over(
    table: dict[str, Floats], spec: SimSpec, handled: tuple[str, str, bool], draws: tuple[int, ...]
) -> bool:
    """True when a part that snaps passes its worn place between two rows: less than twice does any row differ
    from that of the same part without it."""
    part, way, volts = handled
    if way != "switched by hand":
        return False
    twin = recorded(part, replace(spec, faults=()), way, volts, np.random.default_rng(draws))
    seen = 0
    for name in SENSORS[part]:
        rows = np.flatnonzero(np.abs(table[name] - twin[name]) > DROPS_V)
        seen = max(seen, len(rows) and 1 + int(np.count_nonzero(np.diff(rows) > APART)))
    return seen < 2


def rightly_named(record: dict[str, Any]) -> bool:
    """True when what fails is the defect and nothing else, or what it must be called by such a recording."""
    names = RIGHT_NAMES.get((record["name"], record["way"]), (record["name"],))
    return record["verdict"] == "fail" and len(record["named"]) == 1 and record["named"][0] in names

"""Which pin of a plug is which, found with two clips and a current below 1.1 mA.

The red clip carries the sensor's 5 V feed behind a resistor of 4.7 kOhm, together with sensor input A; the
black one is the sensor ground. So the volts at input A say how many ohms are between two pins, and nothing
can be harmed. Two pins that are joined to each other only are the winding; three or four that are all joined
are the sensor.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from strokebench.connect import model, plug, readings
from strokebench.errors import DataError
from strokebench.physics.resistors import Resistor, node_volts

if TYPE_CHECKING:
    from strokebench.bench.bench import Bench
    from strokebench.parts.profile import Profile

PROBE_OHM = 4700.0
OPEN_OHM = 100_000.0
"""From here on nothing joins two pins; a sensor's tracks have less. Common practice, no published source."""
ROUGH_OHM = 20
"""Below this the probe's resistor leaves too few millivolts to tell it from zero."""
CASE = "case"
FITS = 0.10
"""Root mean square of the relative errors with which an assignment of the sensor's pins still fits."""
TIE = 0.02
WIPERS = (0.0, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.7, 1.0)
RATIOS = (0.5, 0.7, 0.85, 1.0, 1.2, 1.4, 2.0)
"""What nobody knows of a sensor, in shares of its first track: the wipers' own ohms, the second track's."""

Ohms = Callable[[str, str], float]
"""Ohms between two pins by name, infinite when nothing joins them; somebody puts the clips there first."""


@dataclass
class Found:
    """``winding``: its two pins, empty when not found; ``sensor``: role -> pin, one table for each way it
    fits.

    ``case_ohm``: between the winding and the case; ``sentences``: what is worth knowing.
    """

    winding: tuple[str, ...] = ()
    sensor: list[dict[str, str]] = field(default_factory=list)
    case_ohm: float = math.inf
    sentences: list[str] = field(default_factory=list)

    @property
    def complete(self) -> bool:
        """Everything that the drawing needs is known, and nothing touches the case."""
        return len(self.winding) == 2 and not self.sentences


def ohms_now(bench: Bench) -> float:
    """Return the ohms between the clips, infinite above :data:`OPEN_OHM`; DataError without a feed."""
    feed_v, at_v, _b_v = readings.mean_volts(bench)
    if feed_v < 4.5:
        raise DataError(
            f"The sensor feed reads {feed_v:.2f} V.", "Does it touch something? Take the clips off."
        )
    taken_s = (feed_v - at_v) / PROBE_OHM - at_v / model.INPUT_OHM
    ohm = at_v / taken_s if taken_s > 0 else math.inf
    return ohm if ohm < OPEN_OHM else math.inf


def find(profile: Profile, pins: Sequence[str], ohms: Ohms, *, case: bool = True) -> Found:
    """Return which pin is which; ``ohms`` measures between two, ``case``: there is a bare case to touch."""
    measured: dict[frozenset[str], float] = {}

    def between(first: str, second: str) -> float:
        pair = frozenset((first, second))
        if pair not in measured:
            measured[pair] = ohms(first, second)
        return measured[pair]

    groups = _groups(pins, between)
    found = Found()
    roles = (
        ["feed", "ground", *(f"signal_{track}" for track in sorted(profile.tracks))] if profile.tracks else []
    )
    pairs, large = [g for g in groups if len(g) == 2], [g for g in groups if len(g) > 2]
    alone = [group[0] for group in groups if len(group) == 1]
    if len(pairs) == 1:
        found.winding = tuple(pairs[0])
    else:
        found.sentences.append(_no_winding(pairs, alone))
    if roles:
        _find_sensor(profile, roles, large, between, found)
    elif large:
        found.sentences.append(
            f"Pins {_listed(large[0])} are all joined: this is not the plug of such a part."
        )
    if case and found.winding:
        found.case_ohm = between(found.winding[0], CASE)
        if found.case_ohm < math.inf:
            found.sentences.append(f"The winding touches the case, through {_about(found.case_ohm)}.")
    return found


class _Wanted(Exception):
    """Between these two pins nobody has measured yet."""


@dataclass
class Search:
    """A search that waits for its measurements: somebody puts the clips where ``next`` says."""

    profile: Profile
    pins: Sequence[str]
    measured: dict[frozenset[str], float] = field(default_factory=dict)

    def next(self) -> tuple[str, str] | Found:
        """Return where the red and the black clip go now, or what was found, once enough is measured."""
        try:
            return find(self.profile, self.pins, self._known)
        except _Wanted as wanted:
            red, black = wanted.args
            return red, black

    def measure(self, red: str, black: str, ohm: float) -> None:
        """Keep what was measured between two places."""
        self.measured[frozenset((red, black))] = ohm

    def _known(self, red: str, black: str) -> float:
        pair = frozenset((red, black))
        if pair not in self.measured:
            raise _Wanted(red, black)
        return self.measured[pair]


def _about(ohm: float) -> str:
    """Return ohms in words; what the probe cannot tell from zero is said so."""
    return f"less than {ROUGH_OHM} ohm" if ohm < ROUGH_OHM else f"about {ohm:.0f} ohm"


def _no_winding(pairs: Sequence[Sequence[str]], alone: Sequence[str]) -> str:
    if len(pairs) > 1:
        return f"Two pairs look like a winding: {' and '.join(_listed(pair) for pair in pairs)}."
    if len(alone) >= 2:
        open_or_unused = "joined to nothing. The winding is open, or they are unused."
        return f"No pair is a winding. Pins {_listed(alone)} are {open_or_unused}"
    return "No pair is a winding: its pins are joined to the sensor's."


def _groups(pins: Sequence[str], between: Ohms) -> list[list[str]]:
    """Return the pins in groups of those that are joined."""
    left, groups = list(pins), []
    while left:
        group = [left.pop(0)]
        for other in list(left):
            if between(group[0], other) < math.inf:
                group.append(other)
                left.remove(other)
        groups.append(group)
    return groups


def _find_sensor(
    profile: Profile, roles: Sequence[str], large: Sequence[Sequence[str]], between: Ohms, found: Found
) -> None:
    if len(large) != 1 or len(large[0]) != len(roles):
        sizes = ", ".join(_listed(group) for group in large) or "none"
        found.sentences.append(
            f"The sensor should have {len(roles)} pins that are all joined. These are joined: {sizes}. A"
            " track may be broken, or the sensor has electronics inside. Use the vehicle's diagram."
        )
        return
    pins = large[0]
    seen = {frozenset(pair): between(*pair) for pair in itertools.combinations(pins, 2)}
    ranked = sorted(assignments(profile, roles, pins, seen), key=lambda each: each[0])
    best = ranked[0][0]
    if best > FITS:
        found.sentences.append(
            f"Pins {_listed(pins)} belong to the sensor, but the readings do not show which is which. The"
            " part is not at rest, or its tracks are worn. Use the vehicle's diagram."
        )
        return
    found.sensor = [table for error, table in ranked if error <= best + TIE]


def assignments(
    profile: Profile, roles: Sequence[str], pins: Sequence[str], seen: Mapping[frozenset[str], float]
) -> list[tuple[float, dict[str, str]]]:
    """Return each way to give the roles to the pins, with the relative error that is left (rms)."""
    shares = model.part_of(profile).shares
    tables = [
        _pair_ohms(shares, wiper, ratio)
        for wiper in WIPERS
        for ratio in (RATIOS if len(shares) > 1 else (1.0,))
    ]
    out = []
    for order in itertools.permutations(pins):
        place = dict(zip(roles, order, strict=True))
        measured = {
            frozenset(pair): math.log(seen[frozenset((place[pair[0]], place[pair[1]]))])
            for pair in itertools.combinations(roles, 2)
        }
        out.append((min(_error(measured, table) for table in tables), place))
    return out


def _error(measured: Mapping[frozenset[str], float], table: Mapping[frozenset[str], float]) -> float:
    """Return the spread of the logarithms of measured over nominal; the common factor is the track's ohms."""
    logs = [value - math.log(table[pair]) for pair, value in measured.items()]
    mean = sum(logs) / len(logs)
    return math.sqrt(sum((value - mean) ** 2 for value in logs) / len(logs))


def _pair_ohms(shares: Mapping[str, float], wiper: float, ratio: float) -> dict[frozenset[str], float]:
    """Return the ohms between each two of the sensor's pins, for a first track of 1 ohm."""
    net: list[Resistor] = []
    for number, (track, share) in enumerate(sorted(shares.items())):
        whole, within = ratio**number, min(max(share, 1e-6), 1 - 1e-6)
        node = f"wiper_{track}"
        net += [
            ("feed", node, (1 - within) * whole),
            (node, "ground", within * whole),
            (node, f"signal_{track}", max(wiper, 1e-6)),
        ]
    names = ["feed", "ground", *(f"signal_{track}" for track in sorted(shares))]
    return {frozenset(pair): _between(net, *pair) for pair in itertools.combinations(names, 2)}


def _between(net: list[Resistor], first: str, second: str) -> float:
    """Return the ohms between two nodes: 1 V across them, and what flows through a resistor in front."""
    front_ohm = 1.0
    volts = node_volts([*net, ("one", first, front_ohm)], {"one": 1.0, second: 0.0})
    amps = (1.0 - volts[first]) / front_ohm
    return volts[first] / amps


def _listed(pins: Sequence[str]) -> str:
    return f"{', '.join(pins[:-1])} and {pins[-1]}" if len(pins) > 1 else "".join(pins)


def text(ohm: float) -> str:
    """Return the ohms between two clips in words."""
    return "nothing joins them" if ohm == math.inf else _about(ohm)


def summary(profile: Profile, found: Found) -> list[str]:
    """Return what was found, and how to connect it, a line each."""
    lines = list(found.sentences)
    if found.winding:
        lines.append(
            f"Winding: pins {_listed(found.winding)}. Output A to pin {found.winding[0]}, B to the other."
        )
    names = {each.pin: (plug.LEADS[each.lead], each.name) for each in plug.drawn(profile)}
    for number, table in enumerate(found.sensor):
        if number:
            lines.append("Or, which reads the same:")
        lines += [f"{names[role][0]} to pin {pin} ({names[role][1]})." for role, pin in table.items()]
    return lines


def placed(profile: Profile, found: Found) -> dict[str, str]:
    """Return which lead of the bench goes on which pin, of a complete finding."""
    pins = {**dict(zip(plug.POWER, found.winding, strict=True)), **(found.sensor[0] if found.sensor else {})}
    return {each.lead: pins[each.pin] for each in plug.drawn(profile)}

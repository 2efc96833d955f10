"""Where boards of ordinary tolerances trip: cycle limit, hard trip, brake chopper, watchdog, by Monte Carlo.

Resistors come from the netlist by reference; the other tolerances stand here with their source. The network's
formulas are checked against ngspice on the same netlist in the tests.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hardware.checks.netlist import Netlist, parse_ohm
from hardware.spice import runner
from hardware.twin.deck import Deck, netlist_of, node

Array = NDArray[np.float64]

PICO_33 = 0.02
"""The Pico's own 3.3 V: a buck-boost of +-2 % (from memory); half-width, rectangular."""
ANALOG_33 = 0.002
RESISTOR, EXACT = 0.01, 0.001
SHUNT, GAIN, SHUNT_OFFSET_V, REFERENCE_DIVIDER = 0.01, 0.002, 25e-6, 0.001
COMPARATOR_V = 0.010
"""MCP656x: offset limit 10 mV (from memory)."""
OPAMP_V = 0.0045
"""MCP6004: offset limit 4.5 mV (data sheet, from memory)."""
CAPACITOR = 0.10
ONE_SHOT = 0.15
"""The one-shot's factor k in k R C, 0.45 at 5 V and longer at 3.3 V: its spread (judgement)."""
PER_A = {"reference": 0.020, "small": 0.200}


@dataclass(frozen=True)
class Spread:
    """Percentiles of a threshold over boards: 0.5, 50 and 99.5 %, in ``unit``; ``all`` of them."""

    low: float
    middle: float
    high: float
    all: Array


def _spread(values: Array) -> Spread:
    low, middle, high = np.percentile(values, (0.5, 50, 99.5))
    return Spread(float(low), float(middle), float(high), values)


class Boards:
    """``count`` boards of a bench, drawn from ``seed``: a rectangle for each tolerance.

    ``first``: every resistor of 1 %, as first drawn; else as the drawing's descriptions say.
    """

    def __init__(
        self, bench: str = "reference", count: int = 20_000, seed: int = 1, first: bool = False
    ) -> None:
        self.netlist, self.bench, self.count = netlist_of(bench), bench, count
        self.first = first
        self._rng = np.random.default_rng(seed)

    def around(self, middle: float, half: float) -> Array:
        """Draw values within a half-width."""
        return middle + half * self._rng.uniform(-1, 1, self.count)

    def ohm(self, ref: str) -> Array:
        """Draw a resistor of the netlist."""
        part = self.netlist.parts[ref]
        value = parse_ohm(part.value)
        half = EXACT if "0.1 %" in part.fields.get("Description", "") and not self.first else RESISTOR
        return self.around(value, half * value)

    def amplifier(self) -> tuple[Array, Array, Array]:
        """Supply, zero and volts per ampere of the current amplifier."""
        rail = self.around(3.3, 3.3 * ANALOG_33)
        slope = PER_A[self.bench] * self.around(1, SHUNT) * self.around(1, GAIN)
        zero = rail / 2 * self.around(1, REFERENCE_DIVIDER) + self.around(0, SHUNT_OFFSET_V) * 20
        return rail, zero, slope


def ratiometric(netlist: Netlist, bench: str) -> bool:
    """Tell whether TRIP_LEVEL's pulses are scaled by the comparators' own supply before they are smoothed."""
    return "TRIP_LEVEL" not in netlist.pins_of(refs(bench)[0]).values()


def refs(bench: str) -> tuple[str, str, str, str, str]:
    """Smoothing resistor, the two of the mirror, the two of its middle."""
    return (
        ("R409", "R410", "R411", "R412", "R413")
        if bench == "reference"
        else ("R408", "R409", "R410", "R411", "R412")
    )


def thresholds(
    level_v: Array, smooth: Array, up: Array, down: Array, middle_v: Array, opamp_v: Array
) -> tuple[Array, Array]:
    """Volts of both thresholds: the smoothed level, loaded by the mirror, and its mirror about the middle."""
    virtual_v = middle_v + opamp_v
    high = level_v + (virtual_v - level_v) * smooth / (smooth + up)
    low = virtual_v - (high - virtual_v) * down / up
    return high, low


def cycle_limit(
    amps: float, bench: str = "reference", first: bool = False, **drawn: int
) -> tuple[Spread, Spread]:
    """Amperes at which boards trip that are set to ``amps``: positive and negative (as magnitudes).

    ``first``: as the circuit was first drawn: the level scaled by the Pico's own 3.3 V, all resistors of 1 %.
    """
    boards = Boards(bench, first=first, **drawn)
    rail, zero, slope = boards.amplifier()
    scaled = ratiometric(boards.netlist, bench) and not first
    logic = rail if scaled else boards.around(3.3, 3.3 * PICO_33)
    duty = (1.65 + PER_A[bench] * amps) / 3.3
    smooth, up, down, top, bottom = (boards.ohm(ref) for ref in refs(bench))
    middle = rail * bottom / (top + bottom)
    high, low = thresholds(duty * logic, smooth, up, down, middle, boards.around(0, OPAMP_V))
    plus = (high + boards.around(0, COMPARATOR_V) - zero) / slope
    minus = (zero - low - boards.around(0, COMPARATOR_V)) / slope
    return _spread(plus), _spread(minus)


def corrected(amps: float, bench: str = "reference", **drawn: int) -> tuple[Spread, Spread]:
    """Return the same after the firmware has found, at no current, where the earlier of the two trips, and
    has shifted the level by that. The other one stays later than it by what the two differ.
    """
    plus_0, minus_0 = (spread.all for spread in cycle_limit(0.0, bench, **drawn))
    plus_1, minus_1 = (spread.all for spread in cycle_limit(1.0, bench, **drawn))
    level_a = amps - np.minimum(plus_0, minus_0)
    return _spread(plus_0 + (plus_1 - plus_0) * level_a), _spread(minus_0 + (minus_1 - minus_0) * level_a)


def apart(bench: str = "reference", **drawn: int) -> Array:
    """Amperes by which the two limits of each board differ."""
    plus, minus = cycle_limit(0.0, bench, **drawn)
    return np.abs(plus.all - minus.all)


def at_zero(amps: float, bench: str = "reference", first: bool = False, **drawn: int) -> float:
    """Share of boards that trip without any current when set to ``amps``."""
    plus, minus = cycle_limit(amps, bench, first, **drawn)
    return float(np.mean((plus.all <= 0) | (minus.all <= 0)))


def hard_trip(bench: str = "reference", **drawn: int) -> Spread:
    """Amperes of the fixed hard trip, positive side."""
    boards = Boards(bench, **drawn)
    rail, zero, slope = boards.amplifier()
    top, middle, bottom = (boards.ohm(ref) for ref in ("R404", "R405", "R406"))
    level = rail * (middle + bottom) / (top + middle + bottom)
    return _spread((level + boards.around(0, COMPARATOR_V) - zero) / slope)


def chopper(**drawn: int) -> tuple[Spread, Spread]:
    """Volts of the bridge supply at which the brake chopper turns on, and off."""
    boards = Boards("reference", **drawn)
    rail = boards.around(3.3, 3.3 * ANALOG_33)
    top, upper, lower = (boards.ohm(ref) for ref in ("R108", "R109", "R110"))
    first, second, third = (boards.ohm(ref) for ref in ("R111", "R112", "R113"))
    back, pull = boards.ohm("R114"), boards.ohm("R115")
    level = rail * (second + third) / (first + second + third) + boards.around(0, COMPARATOR_V)
    ground = upper + lower
    on = top * (level / ground + level / back + level / top)  # its output is low
    high = top * (level / ground + level / top - (rail - level) / (back + pull))
    return _spread(on), _spread(high)


def watchdog(bench: str = "reference", **drawn: int) -> Spread:
    """Seconds after the last pulse at which the gates fall."""
    boards = Boards(bench, **drawn)
    return _spread(
        boards.around(0.45, 0.45 * ONE_SHOT) * boards.ohm("R203") * boards.around(220e-9, CAPACITOR * 220e-9)
    )


def spice_thresholds(amps: float, pico_v: float = 3.3, bench: str = "reference") -> runner.Result:
    """Both thresholds by ngspice from the netlist, the mirror's amplifier ideal."""
    d = Deck("Thresholds of the cycle limit", netlist_of(bench)).take(*refs(bench))
    smooth, _up, down, top, _bottom = refs(bench)
    duty = (1.65 + PER_A[bench] * amps) / 3.3
    source = next(net for net in d.netlist.pins_of(smooth).values() if not net.endswith("TRIP_HI"))
    middle, low = d.pins(top)["2"], node(next(net for net in d.netlist.nets if net.endswith("TRIP_LO")))
    virtual = next(pin for pin in d.pins(down).values() if pin != low)
    d.add(
        "V33 n_3_3va 0 3.3",
        f"Vlevel {node(source)} 0 {duty * pico_v:.6g}",
        f"Eamp {low} 0 {middle} {virtual} 1meg",
    )
    d.without("the level's pulses (their mean is put in)", "offsets")
    high = node(next(net for net in d.netlist.nets if net.endswith("TRIP_HI")))
    control = f".control\nop\nlet high_v = v({high})\nlet low_v = v({low})\nprint high_v low_v\nquit\n.endc"
    return runner.run_text(d.text(control, "high_v low_v"))

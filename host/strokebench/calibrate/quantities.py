"""What can be calibrated: per channel the unit, the points to take, how to wire it, and what is plausible."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from strokefw import channels
from strokefw.sensing import calib

from strokebench.bench.budget import Channel, budget

BRAKING, ARMED, IDLE = "braking", "armed", "idle"
"""What the bench does while a point is read: both low sides on; supply switched through; nothing."""
NTC_GAIN_U = 0.003
"""A quarter of the pull-up's 1 % at most, and the converter's gain: rectangular, combined."""
GAIN_MAX = 0.10
"""A gain error beyond this is a wrong part or a wrong range, not a tolerance."""

CURRENT_WIRING = (
    "12 V on the supply terminals. Nothing but this on the outputs: a floating laboratory supply in "
    "constant current, 5 V at most, switched off; plus through the reference ammeter to output B, minus to "
    "output A. The bench connects both outputs to ground. Negative points: swap the two wires."
)
SUPPLY_WIRING = (
    "Laboratory supply on the supply terminals, limited to 1 A, nothing on the outputs. The reference "
    "voltmeter on the bridge supply itself (the bulk capacitors), not on the terminals."
)
VIN_WIRING = "Laboratory supply on the supply terminals, limited to 1 A; the reference voltmeter on the same."
OUTPUT_WIRING = (
    "12 V on the supply terminals. Laboratory supply, limited to 0.1 A, through 100 Ohm to this output; its "
    "minus to ground. The reference voltmeter from the output to ground. The bridge stays off."
)
SENSOR_WIRING = (
    "Adjustable 0 to 5 V source (a potentiometer of 1 to 10 kOhm across the 5 V feed will do) to this sensor "
    "input; the reference voltmeter from the input to sensor ground."
)
FEED_WIRING = (
    "12 V on the supply terminals; the reference voltmeter from the 5 V feed to sensor ground, nothing else "
    "on it. Nobody can set the feed, so one point is taken and the zero of the design is kept."
)
NTC_WIRING = (
    "A reference resistor (measured with the reference ohmmeter before it is connected, or a "
    "resistance decade) in place of this thermistor. This calibrates the input, not the thermistor itself."
)


def _plain(value: float) -> float:
    return value


def _share(ohm: float) -> float:
    return ohm / (ohm + int(channels.NTC_PULLUP_OHM))


@dataclass(frozen=True)
class Quantity:
    """One channel that can be calibrated.

    ``index`` of strokefw.channels; ``also``: channels of the same amplifier and converter, which take the
    same numbers.  ``points`` in ``unit``; ``full`` is what ``channels.FULL_SCALE`` counts are worth after
    ``linear`` (which makes the quantity proportional to counts); ``span_least`` and ``linearity`` are in the
    same measure, ``linearity`` a standard uncertainty; ``gain_u`` is the relative one that the parts'
    tolerances leave without any calibration.
    """

    name: str
    index: int
    unit: str
    points: tuple[float, ...]
    mode: str
    wiring: str
    full: float
    span_least: float
    linearity: float
    gain_u: float
    also: tuple[int, ...] = ()
    linear: Callable[[float], float] = _plain
    shown: str = ""
    """Unit of offset and residuals where it is not ``unit``."""
    zero_u: float = 0.0
    """Where one point is enough because nobody can set another: standard uncertainty of the design's zero."""

    @property
    def fitted_unit(self) -> str:
        """Unit of what the fit works in."""
        return self.shown or self.unit

    @property
    def scale(self) -> float:
        """Fitted unit per count."""
        return self.full / int(channels.FULL_SCALE)

    @property
    def ideal_zero(self) -> int:
        """Counts at zero of a bench without error."""
        return int(calib.ideal_zero(self.index))

    def nominal(self, counts: float) -> float:
        """Return counts in the fitted unit on an ideal bench."""
        return (counts - self.ideal_zero) * self.scale


def quantities(finer: int = 1, few: bool = False) -> dict[str, Quantity]:
    """Return all quantities by channel name, for a bench with ``finer`` current ranges; ``few``: it measures
    few signals, of which current and supply can be calibrated. Its sensor is a share of its own feed.
    """
    table = budget(finer, few).channels
    coarse, fine = (tuple(i * step / finer for i in range(-2, 3)) for step in (10.0, 2.5))
    full_a = channels.COARSE_FULL_MA / 1000 / finer, channels.FINE_FULL_MA / 1000 / finer
    listed = [
        Quantity(
            "current_coarse", channels.I_COARSE, "A", coarse, BRAKING, CURRENT_WIRING, full_a[0],
            14.0 / finer, table["current_coarse_a"].linearity, table["current_coarse_a"].gain,
            also=(channels.I_MAX, channels.I_MIN),
        ),
        _voltage(
            "supply", channels.BUS, (9.0, 11.0, 13.0, 15.0), ARMED, SUPPLY_WIRING, 4.0, table["supply_v"]
        ),
    ]  # fmt: skip
    if not few:
        own = Quantity(
            "current_fine", channels.I_FINE, "A", fine, BRAKING, CURRENT_WIRING, full_a[1], 4.0 / finer,
            table["current_fine_a"].linearity, table["current_fine_a"].gain,
        )  # fmt: skip
        listed = [own, *listed, *_others(table)]
    return {quantity.name: quantity for quantity in listed}


def _others(table: dict[str, Channel]) -> list[Quantity]:
    """What the external converter reads, but for the fine current."""
    return [
        _voltage("vin", channels.VIN, (9.0, 12.0, 15.0), IDLE, VIN_WIRING, 4.0, table["output_a_v"]),
        _voltage("output_a", channels.LEG_A, (1.0, 6.0, 12.0), IDLE, OUTPUT_WIRING, 6.0, table["output_a_v"]),
        _voltage("output_b", channels.LEG_B, (1.0, 6.0, 12.0), IDLE, OUTPUT_WIRING, 6.0, table["output_b_v"]),
        _sensor("sensor_a", channels.SENSOR_A, (0.5, 2.5, 4.5), SENSOR_WIRING, table),
        _sensor("sensor_b", channels.SENSOR_B, (0.5, 2.5, 4.5), SENSOR_WIRING, table),
        _sensor("feed", channels.FEED, (5.0,), FEED_WIRING, table, zero_u=table["sensor_a_v"].offset),
        _ntc("ntc_heatsink", channels.NTC_HEATSINK),
        _ntc("ntc_part", channels.NTC_PART),
    ]


def _voltage(
    name: str, index: int, points: tuple[float, ...], mode: str, wiring: str, span: float, own: Channel
) -> Quantity:
    full = channels.SUPPLY_FULL_MV / 1000
    return Quantity(name, index, "V", points, mode, wiring, full, span, own.linearity, own.gain)


def _sensor(
    name: str,
    index: int,
    points: tuple[float, ...],
    wiring: str,
    table: dict[str, Channel],
    zero_u: float = 0.0,
) -> Quantity:
    gain_u = table["output_a_v"].gain  # the sensors' own is ratiometric, without the reference's tolerance
    full, linearity = channels.SENSOR_FULL_MV / 1000, table["sensor_a_v"].linearity
    return Quantity(name, index, "V", points, IDLE, wiring, full, 2.0, linearity, gain_u, zero_u=zero_u)


def _ntc(name: str, index: int) -> Quantity:
    step = 1 / 4095  # one step of the converter, its data sheet's limit of linearity
    return Quantity(
        name, index, "ohm", (22_000.0, 10_000.0, 1_500.0), IDLE, NTC_WIRING, 1.0, 0.3, step / 3**0.5,
        NTC_GAIN_U, linear=_share, shown="of full scale",
    )  # fmt: skip

"""Known currents and voltages on the emulated chip's converters against what the firmware makes of them."""

from __future__ import annotations

import ast
import datetime
import math
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

from strokebench.bench.accuracy import accuracy
from strokebench.bench.budget import budget
from strokebench.bench.spec import SimSpec
from strokebench.calibrate import record, solve
from strokebench.calibrate.instrument import Instrument
from strokebench.calibrate.quantities import quantities
from strokebench.sim.board.board import SimBoard
from strokebench.sim.board.converter import Converter
from strokebench.sim.chip.world import ChipWorld
from strokefw import channels
from strokefw.sensing import sense

TICKS = 4
"""Ticks whose readings are averaged at each point."""
SETTLE_S = 0.0025
AMPS = (0.0, 0.05, 0.3, 1.0, 2.0, 3.0, 4.5, 6.0, 6.8, 10.0, 20.0, 30.0, 40.0, 50.0, 60.0)
FINE_A = 7.2
SUPPLY_V, OUTPUT_V, SENSOR_V = (6.0, 17.0), (0.2, 16.0), (0.2, 4.8)
COLUMNS: dict[str, tuple[int, int]] = {
    "current_coarse_a": (channels.I_COARSE, channels.I_COARSE),
    "current_fine_a": (channels.I_FINE, channels.I_FINE),
    "current_a": (channels.I_COARSE, sense.MERGED),
    "supply_v": (channels.BUS, channels.BUS),
    "output_a_v": (channels.LEG_A, channels.LEG_A),
    "output_b_v": (channels.LEG_B, channels.LEG_B),
    "sensor_a_v": (channels.SENSOR_A, sense.RATIO_A),
    "sensor_b_v": (channels.SENSOR_B, sense.RATIO_B),
}
"""Quantity -> the channel that it is fed to, and where the firmware's value of it stands."""
CALIBRATED = ("current_fine", "current_coarse", "supply", "output_a", "output_b", "sensor_a", "sensor_b")
BOARD = """
import time, micropython
from array import array
from strokefw.pico.board import Board
b = Board()
micropython.kbd_intr(3)
c = array('H', [0] * 13)
"""
MODULE = {
    "known.py": b"""
import time
from strokefw.sensing.calib import Calibration
from strokefw.sensing.sense import Sense
calibration = Calibration()
s = Sense(calibration, 0)
def look(b, c, ticks):
    values, counts = [0] * len(s.values), [0] * 13
    for i in range(ticks):
        time.sleep_us(1000)
        b.scan(c)
        s.update(c)
        for j in range(len(values)): values[j] += s.values[j]
        for j in range(13): counts[j] += c[j]
    print((values, counts))
def use(data):
    calibration.use(data)
    s.reload()
"""
}
"""In the flash, not typed at the prompt: what the firmware itself does not use is not on the chip."""


class FedBoard(SimBoard):
    """A simulated board whose inputs stand where they are put: no part, no supply behind them."""

    def __init__(self, spec: SimSpec) -> None:
        super().__init__(spec, ideal=True)
        self.feed(0.0, 0.5)

    def step(self) -> None:
        """A millisecond in which only the converters' noise goes on."""
        self.tick += 1
        self._row_at = self.tick % len(self.converter.rows)

    def feed(self, current_a: float, share: float) -> dict[str, float]:
        """Put ``current_a`` on both ranges and every voltage at ``share`` of its sweep; return all."""
        plant = self.plant
        at = {
            name: low + share * (high - low)
            for name, (low, high) in (
                ("supply_v", SUPPLY_V),
                ("output_a_v", OUTPUT_V),
                ("sensor_a_v", SENSOR_V),
            )
        }
        at["output_b_v"] = OUTPUT_V[0] + OUTPUT_V[1] - at["output_a_v"]
        at["sensor_b_v"] = SENSOR_V[0] + SENSOR_V[1] - at["sensor_a_v"]
        plant.current_a = plant.current_max_a = plant.current_min_a = current_a
        plant.bus_v = plant.vin_v = at["supply_v"]
        plant.leg_a_v, plant.leg_b_v = at["output_a_v"], at["output_b_v"]
        plant.feed_v = 5.0
        self._sensor_a_v, self._sensor_b_v = at["sensor_a_v"], at["sensor_b_v"]
        currents = ("current_coarse_a", "current_fine_a", "current_a")
        return {**at, **dict.fromkeys(currents, current_a)}


@dataclass(frozen=True)
class Reading:
    """One quantity at one point, in its unit; ``u`` is the standard uncertainty that the host states."""

    column: str
    true: float
    read: float
    u: float

    @property
    def error(self) -> float:
        """Read less true."""
        return self.read - self.true


Uncertainty = Callable[[str, float], float]


def uncalibrated(column: str, value: float) -> float:
    """Standard uncertainty of a reading of a bench as it is built (strokebench.bench.budget)."""
    return budget().channel_of(column, value).u(value, TICKS)


def calibrated(column: str, value: float) -> float:
    """The same after a calibration of which no certificate is at hand (strokebench.bench.accuracy)."""
    if column == "current_coarse_a" or (column == "current_a" and abs(value) > sense.FADE_START_MA / 1000):
        known = budget().channel_of("current_coarse_a", value)  # the host's table tells the fine range only
        return math.hypot(
            known.linearity, known.noise / TICKS**0.5, value * accuracy(True)["current_a"]["gain"]
        )
    row = accuracy(True)["current_a" if column == "current_fine_a" else column]
    return math.hypot(row["offset"], row["gain"] * value, row["noise"] / TICKS**0.5)


def begin(world: ChipWorld) -> None:
    """Make the firmware's sense on a chip that has the board as `b` in its REPL."""
    world.machine.execute("from known import look, use", 20)


def fit_errors(world: ChipWorld, seed: int | None) -> None:
    """Give the converters the errors of specimen ``seed`` of a bench as built; None: no errors.

    The feed is left without: the budget's figures for a sensor are those of its ratio to the feed, with both
    dividers in it, and the simulated converter puts them on the sensor alone.
    """
    converter = Converter(seed or 0, ideal=seed is None, as_built=True)
    ideal = Converter(0, ideal=True)
    converter.gain[channels.FEED] = ideal.gain[channels.FEED]
    for row, ideal_row in zip(converter.rows, ideal.rows, strict=True):
        row[channels.FEED] = ideal_row[channels.FEED]
    world.board.converter = converter


def sweep(world: ChipWorld, uncertainty: Uncertainty = uncalibrated) -> list[Reading]:
    """Feed each current in both signs and read everything at each."""
    found = []
    amps = sorted({sign * a for a in AMPS for sign in (-1, 1)})
    for n, current_a in enumerate(amps):
        true = _board(world).feed(current_a, n / (len(amps) - 1))
        values, _ = _look(world)
        for column, (_, place) in COLUMNS.items():
            if column != "current_fine_a" or abs(current_a) <= FINE_A:
                u = uncertainty(column, true[column])
                found.append(Reading(column, true[column], values[place] / 1000, u))
    return found


def calibrate(world: ChipWorld) -> None:
    """Calibrate current, supply, outputs and sensors as the host does, against a faultless reference."""
    all_of = quantities()
    meter = Instrument(name="faultless", percent=0.0)
    corrections = []
    for name in CALIBRATED:
        quantity = all_of[name]
        readings = []
        for point in quantity.points:
            _put(world, quantity.index, point)
            _, counts = _look(world)
            readings.append(solve.Reading(name, point, counts[quantity.index], 1.0, TICKS))
        corrections.append(solve.solve(quantity, readings, meter))
    made = record.build(corrections, b"", datetime.date(2026, 1, 1), "test", ["faultless"])
    world.machine.execute(f"use({made!r})")


def worst(found: Iterable[Reading]) -> dict[str, Reading]:
    """Return for each column the reading with the largest error against its uncertainty."""
    by_column: dict[str, Reading] = {}
    for reading in found:
        held = by_column.get(reading.column)
        if held is None or abs(reading.error) / reading.u > abs(held.error) / held.u:
            by_column[reading.column] = reading
    return by_column


def _board(world: ChipWorld) -> FedBoard:
    assert isinstance(world.board, FedBoard)
    return world.board


def _put(world: ChipWorld, channel: int, value: float) -> None:
    board = _board(world)
    board.feed(value if channel in (channels.I_COARSE, channels.I_FINE) else 0.0, 0.5)
    names = {channels.BUS: "bus_v", channels.LEG_A: "leg_a_v", channels.LEG_B: "leg_b_v"}
    if channel in names:
        setattr(board.plant, names[channel], value)
    elif channel == channels.SENSOR_A:
        board._sensor_a_v = value
    elif channel == channels.SENSOR_B:
        board._sensor_b_v = value


def _look(world: ChipWorld) -> tuple[list[float], list[float]]:
    world.machine.run(SETTLE_S)
    sums = ast.literal_eval(world.machine.execute(f"look(b, c, {TICKS})", 20))
    values, counts = ([total / TICKS for total in column] for column in sums)
    return values, counts


def rows(world: ChipWorld, seeds: Iterable[int]) -> Iterator[tuple[str, str]]:
    """Rows of the chip's report; ``world`` has a :class:`FedBoard`."""
    world.machine.execute(BOARD)
    begin(world)
    several = []
    for seed in seeds:
        fit_errors(world, seed)
        several += sweep(world)
    for column, farthest in worst(several).items():
        yield (
            f"conversion, board with tolerances, not calibrated: worst reading of {column}",
            _shown(farthest),
        )
    calibrate(world)
    for column, farthest in worst(sweep(world, calibrated)).items():
        yield f"conversion, the last of these boards, calibrated: worst reading of {column}", _shown(farthest)


def _shown(reading: Reading) -> str:
    unit = reading.column[-1].upper()
    read = f"{1000 * reading.error:+.1f} m{unit} at {reading.true + 0:.4g} {unit}"
    return f"{read} (stated uncertainty {2000 * reading.u:.1f} m{unit}, k = 2)"

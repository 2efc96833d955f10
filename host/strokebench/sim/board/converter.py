"""Errors of the bench's converters and amplifiers: noise, steps, curvature, offset and gain, per seed.

Fast channels sit on the chip's own converter: 12 bit, 8.7 effective bits (2.84 codes rms), with jumps of
about ten codes at 512, 1536, 2560 and 3584 (RP2040 datasheet, erratum E11, as quoted; sizes from a third
party's average of five boards).  The others sit on a 12-bit successive-approximation converter with +-1 code
of curvature (MCP3208-B class). Gain and offset errors are what is left after an ordinary calibration, or with
``as_built`` what the parts' tolerances allow before any: the standard uncertainties of
strokebench.bench.budget.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from strokefw import channels as ch
from strokefw.sensing import sense

from strokebench.bench.budget import default_budget
from strokebench.sim.plants.pieces.friction import bump

FAST = (ch.I_COARSE, ch.BUS, ch.I_MAX, ch.I_MIN)
BURST = {ch.I_COARSE: "current", ch.I_FINE: "current", ch.BUS: "bus_v"}
"""Channels that can be captured in a burst (all on the fast converter) -> what they show of the plant."""
CURRENTS = (ch.I_COARSE, ch.I_FINE, ch.I_MAX, ch.I_MIN)
CODES = 4096
LEFT = ch.FULL_SCALE // (CODES - 1)
FAST_NOISE = 2.84
FAST_MEAN_OF = 160
SLOW_NOISE = 0.5
SLOW_MEAN_OF = 8
ROWS = 8192
PER_VOLT = ch.FULL_SCALE * 1000

# nominal counts per A, V or count of each channel; 0 A lies at MID_SCALE
SCALE = [0.0] * ch.N_CHANNELS
for _channel in CURRENTS:
    SCALE[_channel] = PER_VOLT / ch.COARSE_FULL_MA
SCALE[ch.I_FINE] = PER_VOLT / ch.FINE_FULL_MA
for _channel in (ch.BUS, ch.VIN, ch.LEG_A, ch.LEG_B):
    SCALE[_channel] = PER_VOLT / ch.SUPPLY_FULL_MV
for _channel in (ch.SENSOR_A, ch.SENSOR_B, ch.FEED):
    SCALE[_channel] = PER_VOLT / ch.SENSOR_FULL_MV
for _channel in (ch.NTC_HEATSINK, ch.NTC_PART):
    SCALE[_channel] = 1.0

# standard sizes of the errors that an ordinary calibration leaves
GAIN_LEFT = 0.0007
OFFSET_LEFT_A = {ch.I_COARSE: 0.015, ch.I_MAX: 0.015, ch.I_MIN: 0.015, ch.I_FINE: 0.0012}
OFFSET_LEFT_V = {ch.BUS: 0.006, ch.VIN: 0.006, ch.LEG_A: 0.006, ch.LEG_B: 0.006}
OFFSET_LEFT_SENSOR_V = 0.0012

_BUDGET = {
    ch.I_COARSE: "current_coarse_a",
    ch.I_FINE: "current_fine_a",
    ch.BUS: "supply_v",
    ch.VIN: "output_a_v",
    ch.LEG_A: "output_a_v",
    ch.LEG_B: "output_b_v",
    ch.SENSOR_A: "sensor_a_v",
    ch.SENSOR_B: "sensor_b_v",
    ch.FEED: "output_a_v",
}
MEASURED_BY_FEW = (ch.I_COARSE, ch.BUS, ch.SENSOR_A, ch.I_MAX, ch.I_MIN)
"""What a bench with few signals reads, all of it with the chip's own converter; its other counts are 0."""
FEW_SENSOR_SCALE = PER_VOLT / sense.FEED_NOMINAL_MV
"""Counts per volt of its sensor, which is read as a share of the feed."""
NTC_ZERO_COUNTS = 3 * LEFT / 3**0.5  # the external converter's offset limit, as in hardware/calc/budget.py


def built_errors(few: bool = False) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the standard sizes of gain (relative) and offset (counts) errors of a bench as built; ``few``:
    one with few signals.
    """
    table = default_budget(few)
    gain, offset = np.zeros(ch.N_CHANNELS), np.zeros(ch.N_CHANNELS)
    for channel, key in _BUDGET.items():
        if few and channel not in MEASURED_BY_FEW:
            continue
        gain[channel] = table[key].gain
        offset[channel] = table[key].offset * SCALE[channel]
    if few:
        return gain, offset
    # the budget's sensor is referred to the feed, so its gain holds both dividers: each has its share
    gain[[ch.SENSOR_A, ch.SENSOR_B, ch.FEED]] = table["sensor_a_v"].gain / 2**0.5
    # the budget's voltage offset is at the divider's input; the feed's divider has another ratio
    offset[ch.FEED] = table["sensor_a_v"].offset * SCALE[ch.FEED]
    offset[[ch.NTC_HEATSINK, ch.NTC_PART]] = NTC_ZERO_COUNTS
    return gain, offset


def left_errors() -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the same as an ordinary calibration leaves them."""
    gain, offset = np.full(ch.N_CHANNELS, GAIN_LEFT), np.zeros(ch.N_CHANNELS)
    for channel, size in {**OFFSET_LEFT_A, **OFFSET_LEFT_V}.items():
        offset[channel] = size * SCALE[channel]
    for channel in (ch.SENSOR_A, ch.SENSOR_B, ch.FEED):
        offset[channel] = OFFSET_LEFT_SENSOR_V * SCALE[channel]
    return gain, offset


def steps() -> NDArray[np.float64]:
    """Error of the fast converter in counts over its codes, smeared as its own noise smears it."""
    codes = np.arange(CODES)
    saw = 10.0 * (0.5 - ((codes - 512) / 1024) % 1.0)
    reach = np.arange(-12, 13) / CODES
    kernel = bump(reach, 0.0, FAST_NOISE / CODES)
    padded = np.pad(saw, 12, mode="edge")
    smooth: NDArray[np.float64] = np.convolve(padded, kernel / kernel.sum(), "valid") * LEFT
    return smooth


class Converter:
    """The errors of one specimen of the bench.

    ``gain`` (13 factors, counts per unit), ``rows`` (``ROWS`` x 13: offset + noise of the mean of a tick,
    counts), ``bend`` (13 tables over the 12-bit code, counts).  ``ideal`` leaves all errors out.
    ``finer``: how much finer the current ranges are than the reference bench's; errors stay the same in
    counts. ``few``: the bench measures few signals.
    """

    def __init__(
        self, seed: int, ideal: bool = False, as_built: bool = False, finer: int = 1, few: bool = False
    ) -> None:
        self._rng = rng = np.random.default_rng((seed, 9))
        self.ideal = ideal
        spoiled = 0.0 if ideal else 1.0
        gain_sizes, offset_sizes = built_errors(few) if as_built else left_errors()
        scale = np.array(SCALE)
        fast = list(FAST)
        if few:
            fast.append(ch.SENSOR_A)
            scale[ch.SENSOR_A] = FEW_SENSOR_SCALE
        gain = scale * (1 + spoiled * gain_sizes * rng.normal(0, 1, ch.N_CHANNELS).clip(-2.5, 2.5))
        gain[[ch.I_MAX, ch.I_MIN]] = gain[ch.I_COARSE]
        gain[[ch.NTC_HEATSINK, ch.NTC_PART]] = 1.0
        gain[list(CURRENTS)] *= finer
        self.zero: list[float] = self._offsets(rng, spoiled * offset_sizes).tolist()
        noise = np.full(ch.N_CHANNELS, SLOW_NOISE * LEFT / SLOW_MEAN_OF**0.5)
        noise[fast] = FAST_NOISE * LEFT / FAST_MEAN_OF**0.5
        noise[[ch.I_MAX, ch.I_MIN]] = FAST_NOISE * LEFT / 2
        drawn = rng.normal(0, 1, (ROWS, ch.N_CHANNELS)) * noise * spoiled
        rows = drawn + np.array(self.zero) + 0.5
        if few:
            absent = [channel for channel in range(ch.N_CHANNELS) if channel not in MEASURED_BY_FEW]
            rows[:, absent] = 0.0
            gain[absent] = 0.0
        self.gain: list[float] = gain.tolist()
        self.rows: list[list[float]] = rows.tolist()
        self.bend = self._bends(rng, spoiled, fast)
        self._fast_bend = np.array(self.bend[ch.BUS]) / LEFT

    @staticmethod
    def _offsets(rng: np.random.Generator, sizes: NDArray[np.float64]) -> NDArray[np.float64]:
        zero: NDArray[np.float64] = rng.normal(0, 1, ch.N_CHANNELS).clip(-2.5, 2.5) * sizes
        zero[[ch.I_COARSE, ch.I_FINE]] += ch.MID_SCALE
        zero[[ch.I_MAX, ch.I_MIN]] = zero[ch.I_COARSE]
        return zero

    @staticmethod
    def _bends(rng: np.random.Generator, spoiled: float, on_chip: list[int]) -> list[list[float]]:
        fast = (steps() * spoiled).tolist()
        position = np.arange(CODES) / CODES
        tables: list[list[float]] = []
        for channel in range(ch.N_CHANNELS):
            size, phase = spoiled * rng.uniform(0.3, 0.9), rng.uniform(0, 6.3)
            wave = size * LEFT * np.sin(2 * np.pi * position * 2 + phase)
            tables.append(fast if channel in on_chip else wave.tolist())
        return tables

    def burst_counts(self, channel: int, values: NDArray[np.float64]) -> NDArray[np.uint16]:
        """Return single conversions (not means) of ``values`` in A or V as left-aligned counts."""
        ideal = values * self.gain[channel] + self.zero[channel]
        codes = ideal / LEFT
        if not self.ideal:
            codes = codes + self._rng.normal(0, FAST_NOISE, len(codes))
            codes = codes + self._fast_bend[np.clip(codes, 0, CODES - 1).astype(int)]
        whole: NDArray[np.uint16] = (np.clip(np.round(codes), 0, CODES - 1) * LEFT).astype(np.uint16)
        return whole

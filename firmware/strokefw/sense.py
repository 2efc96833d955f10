"""Converter counts to mA, mV and 0.1 C, in integers; both current ranges merged into one reading.

Each channel is ``(counts - zero) * mul >> shift`` with the calibration's trim folded into ``mul``; every
product stays within 30 bits. The fine current range is used while the peak of the tick lies well inside it,
the coarse one above, and between ``FADE_START_MA`` and ``FADE_END_MA`` they are blended.
"""

from array import array

from strokefw import channels, ntc
from strokefw.compat import const, micropython, ptr16, ptr32

FADE_START_MA = const(6400)  # peak of the tick; the fine range is true to 7.2 A
FADE_END_MA = const(7200)
FEED_NOMINAL_MV = const(5000)
FEED_MIN_MV = const(4500)
FEED_MAX_MV = const(5500)
_CHANNELS = const(13)  # channels.N_CHANNELS, folded into the kernel
_ZERO_BIAS = const(8192)  # keeps calibrated zeros, which may be negative, readable for the kernel

# per channel: full scale in mA or mV, and the shift that keeps mul large and the product within 30 bits
_SCALES = (
    (channels.COARSE_FULL_MA, 13), (channels.FINE_FULL_MA, 16),
    (channels.SUPPLY_FULL_MV, 14), (channels.SUPPLY_FULL_MV, 14), (channels.SUPPLY_FULL_MV, 14),
    (channels.SUPPLY_FULL_MV, 14), (channels.SENSOR_FULL_MV, 17), (channels.SENSOR_FULL_MV, 17),
    (channels.SENSOR_FULL_MV, 17), (channels.FULL_SCALE, 13), (channels.FULL_SCALE, 13),
    (channels.COARSE_FULL_MA, 13), (channels.COARSE_FULL_MA, 13),
)


@micropython.viper
def _convert(counts: ptr16, k: ptr32, out: ptr32):
    # k: biased zero, mul, shift of each channel in turn; out: one value per channel
    for i in range(_CHANNELS):
        j = 3 * i
        shift = k[j + 2]
        out[i] = ((int(counts[i]) + _ZERO_BIAS - k[j]) * k[j + 1] + (1 << (shift - 1))) >> shift


@micropython.viper
def _merge(coarse: int, fine: int, peak_high: int, peak_low: int) -> int:
    peak = peak_high
    if 0 - peak_low > peak:
        peak = 0 - peak_low
    if coarse > peak:
        peak = coarse
    if 0 - coarse > peak:
        peak = 0 - coarse
    if peak <= FADE_START_MA:
        return fine
    if peak >= FADE_END_MA:
        return coarse
    return fine + (coarse - fine) * (peak - FADE_START_MA) // (FADE_END_MA - FADE_START_MA)


class Sense:
    """One tick's readings, as attributes in mA, mV and 0.1 C.

    ``heatsink_ntc`` and ``part_ntc`` are ntc.OK, OPEN or SHORT; a temperature that cannot be read is
    ``ntc.NO_READING``. ``sensor_a_mv`` and ``sensor_b_mv`` are referred to a feed of exactly 5000 mV while
    the measured feed is in range (``feed_ok``), else as measured. ``values`` holds all channels by index.
    """

    def __init__(self, calibration):
        self.calibration = calibration
        self.values = array("i", [0] * channels.N_CHANNELS)
        self._k = array("i", [0] * (3 * channels.N_CHANNELS))
        self.current_ma = self.current_max_ma = self.current_min_ma = 0
        self.bus_mv = self.vin_mv = self.leg_a_mv = self.leg_b_mv = 0
        self.sensor_a_mv = self.sensor_b_mv = self.feed_mv = 0
        self.feed_ok = 0
        self.heatsink_dc = self.part_dc = ntc.NO_READING
        self.heatsink_ntc = self.part_ntc = ntc.OPEN
        self.heatsink_readings = self.part_readings = 0  # count up with each new temperature
        self._tick = 0
        self._heatsink_sum = self._part_sum = 0
        self.reload()

    def reload(self):
        """Take the calibration's zeros and trims over (after it changed; not in the tick)."""
        for channel, (full, shift) in enumerate(_SCALES):
            trim = 32768 + self.calibration.trim[channel]
            mul = (full * (1 << shift) * trim + (channels.FULL_SCALE << 14)) // (channels.FULL_SCALE << 15)
            self._k[3 * channel] = self.calibration.zero[channel] + _ZERO_BIAS
            self._k[3 * channel + 1] = mul
            self._k[3 * channel + 2] = shift
        self._tick = 0

    def update(self, counts):
        """Take one scan (``array('H')`` of N_CHANNELS) over. Allocates nothing."""
        v = self.values
        _convert(counts, self._k, v)
        high = v[11]
        low = v[12]
        self.current_max_ma = high
        self.current_min_ma = low
        self.current_ma = _merge(v[0], v[1], high, low)
        self.bus_mv = v[2] if v[2] > 0 else 0
        self.vin_mv = v[3] if v[3] > 0 else 0
        self.leg_a_mv = v[4] if v[4] > 0 else 0
        self.leg_b_mv = v[5] if v[5] > 0 else 0
        a = v[6] if v[6] > 0 else 0
        b = v[7] if v[7] > 0 else 0
        feed = v[8] if v[8] > 0 else 0
        self.feed_mv = feed
        if FEED_MIN_MV <= feed <= FEED_MAX_MV:
            self.feed_ok = 1
            half = feed >> 1
            a = (a * FEED_NOMINAL_MV + half) // feed
            b = (b * FEED_NOMINAL_MV + half) // feed
        else:
            self.feed_ok = 0
        self.sensor_a_mv = a
        self.sensor_b_mv = b
        self._warmth(v[9], v[10])

    def _warmth(self, heatsink, part):
        # means over 16 ticks; the two end half a period apart, so that no tick does both look-ups
        tick = self._tick
        self._tick = tick + 1 if tick < 47 else 32
        self._heatsink_sum += heatsink
        self._part_sum += part
        if tick == 0:  # nothing to average yet
            self._heatsink(heatsink)
            self._part(part)
            self._heatsink_sum = 0
        elif tick == 8:
            self._part_sum = 0
        elif tick & 15 == 0:
            self._heatsink(self._heatsink_sum >> 4)
            self._heatsink_sum = 0
        elif tick & 15 == 8:
            self._part(self._part_sum >> 4)
            self._part_sum = 0

    def _heatsink(self, counts):
        counts = counts if counts > 0 else 0
        self.heatsink_ntc = ntc.condition(counts)
        self.heatsink_dc = ntc.decidegrees(counts)
        self.heatsink_readings = (self.heatsink_readings + 1) & 0xFFFF

    def _part(self, counts):
        counts = counts if counts > 0 else 0
        self.part_ntc = ntc.condition(counts)
        self.part_dc = ntc.decidegrees(counts)
        self.part_readings = (self.part_readings + 1) & 0xFFFF

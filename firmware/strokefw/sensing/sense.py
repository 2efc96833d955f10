"""Converter counts to mA, mV and 0.1 C, in integers; both current ranges merged into one reading.

Each channel is ``(counts - zero) * mul >> shift`` with the calibration's trim folded into ``mul``; every
product stays within 30 bits. The fine current range is used while the peak of the tick lies well inside it,
the coarse one above, and between ``FADE_START_MA`` and ``FADE_END_MA`` they are blended.

Thermistors go through an integer table. All of a tick's arithmetic is one kernel: on the chip a call costs
more than what it does.
"""

from array import array

from strokefw import channels
from strokefw.compat import const, micropython, ptr16, ptr32
from strokefw.sensing import calib

FADE_START_MA = const(6400)  # peak of the tick (finer on a finer board); the fine range is true to 7.2 A
FADE_END_MA = const(7200)
FEED_NOMINAL_MV = const(5000)
FEED_MIN_MV = const(4500)
FEED_MAX_MV = const(5100)  # the divider clips at 5133: above this a high feed could hide
_ZERO_BIAS = const(8192)  # keeps calibrated zeros, which may be negative, readable for the kernel

# beyond the channels in ``values``: the merged current, the ratiometric sensors, and the currents once
# more with ``BIAS`` added, because a kernel can only read what is not negative
MERGED = const(13)
RATIO_A = const(14)
RATIO_B = const(15)
B_COARSE = const(16)
B_FINE = const(17)
B_MAX = const(18)
B_MIN = const(19)
B_MERGED = const(20)
HEATSINK = const(21)  # 0.1 C, biased; then its state and a count of its new readings
HEATSINK_NTC = const(22)
HEATSINK_READINGS = const(23)
PART = const(24)
PART_NTC = const(25)
PART_READINGS = const(26)
N_VALUES = const(27)
BIAS = const(1 << 29)

# thermistors: counts, conditions
OPEN_COUNTS = const(63535)  # 3.2 V: above, the wire is open (or it is colder than -26 C)
SHORT_COUNTS = const(993)  # 0.05 V: below, it is shorted (or hotter than 190 C)
NTC_OK = const(0)
NTC_OPEN = const(1)
NTC_SHORT = const(2)
NO_READING = const(-32768)  # temperature of a sensor that is open or shorted
BIAS_DC = const(1000)

_CONDITION = const(1)  # behind a temperature
_READINGS = const(2)

# words of the conversion: each channel's zero, mul, shift
_MUL = const(1)
_SHIFT = const(2)
_PER_CHANNEL = const(3)
_HEATSINK_SUM = const(39)
_PART_SUM = const(40)
_FADE_START = const(41)
_FADE_SPAN = const(42)
_TURN = const(43)  # 0 to 47, then 32 to 47 again: the first readings come alone, later ones in turn
_WORDS = const(44)

# per channel: full scale in mA or mV, and the shift that keeps mul large and the product within 30 bits
_SCALES = (
    (channels.COARSE_FULL_MA, 13),
    (channels.FINE_FULL_MA, 16),
    (channels.SUPPLY_FULL_MV, 14),
    (channels.SUPPLY_FULL_MV, 14),
    (channels.SUPPLY_FULL_MV, 14),
    (channels.SUPPLY_FULL_MV, 14),
    (channels.SENSOR_FULL_MV, 17),
    (channels.SENSOR_FULL_MV, 17),
    (channels.SENSOR_FULL_MV, 17),
    (channels.FULL_SCALE, 13),
    (channels.FULL_SCALE, 13),
    (channels.COARSE_FULL_MA, 13),
    (channels.COARSE_FULL_MA, 13),
)

# 0.1 C above -100 C (so that no entry is negative), at 0, 512, 1024 ... 65536 counts
# R = R25 exp(B (1/T - 1/298.15 K)), IEC 60539-1, 10 k B3950 to ground, 4.7 k to the reference; interpolated
# linearly, within 0.3 C of the formula from -20 to 120 C
TABLE = array("H", (
    3865, 3432, 2999, 2776, 2629, 2520, 2435, 2364, 2305, 2254, 2208, 2168, 2132, 2098, 2068, 2040, 2013,
    1989, 1966, 1944, 1923, 1904, 1885, 1868, 1851, 1834, 1818, 1803, 1789, 1775, 1761, 1748, 1735, 1722,
    1710, 1698, 1687, 1676, 1664, 1654, 1643, 1633, 1622, 1612, 1603, 1593, 1583, 1574, 1565, 1556, 1547,
    1538, 1529, 1520, 1512, 1503, 1495, 1487, 1478, 1470, 1462, 1454, 1446, 1438, 1430, 1422, 1414, 1406,
    1399, 1391, 1383, 1375, 1368, 1360, 1352, 1345, 1337, 1329, 1321, 1314, 1306, 1298, 1290, 1282, 1274,
    1266, 1258, 1250, 1242, 1234, 1226, 1218, 1209, 1201, 1192, 1183, 1174, 1165, 1156, 1147, 1138, 1128,
    1118, 1108, 1098, 1087, 1076, 1065, 1054, 1042, 1030, 1017, 1004, 990, 975, 960, 944, 927, 908, 888,
    866, 842, 815, 784, 747, 702, 641, 543, 445,
))  # fmt: skip


@micropython.viper
def condition(counts: int) -> int:
    """Return NTC_OK, NTC_OPEN or NTC_SHORT for corrected counts (0..65535)."""
    if counts > OPEN_COUNTS:
        return NTC_OPEN
    if counts < SHORT_COUNTS:
        return NTC_SHORT
    return NTC_OK


@micropython.viper
def decidegrees(counts: int) -> int:
    """Return 0.1 C from corrected counts; NO_READING when open or shorted. Allocates nothing."""
    if counts > OPEN_COUNTS or counts < SHORT_COUNTS:
        return NO_READING
    table = ptr16(TABLE)
    i = counts >> 9
    low = int(table[i])
    step = int(table[i + 1]) - low
    return low + ((step * (counts - (i << 9)) + 256) >> 9) - BIAS_DC


@micropython.viper
def _warm(out: ptr32, at: int, counts: int):
    # a new temperature: what a thermistor's mean counts mean
    out[at] = int(decidegrees(counts)) + BIAS
    out[at + _CONDITION] = int(condition(counts))
    out[at + _READINGS] = (out[at + _READINGS] + 1) & 0xFFFF


@micropython.viper
def convert(counts: ptr16, k: ptr32, out: ptr32):
    # One scan to readings. ``k`` are Sense's words, ``out`` its values.
    coarse = 0
    fine = 0
    high = 0
    low = 0
    for i in range(channels.N_CHANNELS):
        j = _PER_CHANNEL * i
        shift = k[j + _SHIFT]
        value = ((int(counts[i]) + _ZERO_BIAS - k[j]) * k[j + _MUL] + (1 << (shift - 1))) >> shift
        if i == channels.I_COARSE:
            coarse = value
        elif i == channels.I_FINE:
            fine = value
        elif i == channels.I_MAX:
            high = value
        elif i == channels.I_MIN:
            low = value
        elif value < 0:
            value = 0
        out[i] = value
    peak = high
    if 0 - low > peak:
        peak = 0 - low
    if coarse > peak:
        peak = coarse
    if 0 - coarse > peak:
        peak = 0 - coarse
    if k[_FADE_SPAN] == 0:  # one range
        fine = coarse
    merged = coarse
    over = peak - k[_FADE_START]
    if over <= 0:
        merged = fine
    elif over < k[_FADE_SPAN]:
        merged = fine + (coarse - fine) * over // k[_FADE_SPAN]
    out[MERGED] = merged
    out[B_COARSE] = coarse + BIAS
    out[B_FINE] = fine + BIAS
    out[B_MAX] = high + BIAS
    out[B_MIN] = low + BIAS
    out[B_MERGED] = merged + BIAS
    feed = out[channels.FEED]
    a = out[channels.SENSOR_A]
    b = out[channels.SENSOR_B]
    if feed >= FEED_MIN_MV and feed <= FEED_MAX_MV:
        a = (a * FEED_NOMINAL_MV + (feed >> 1)) // feed
        b = (b * FEED_NOMINAL_MV + (feed >> 1)) // feed
    out[RATIO_A] = a
    out[RATIO_B] = b
    k[_HEATSINK_SUM] += out[channels.NTC_HEATSINK]
    k[_PART_SUM] += out[channels.NTC_PART]
    # temperatures: means over 16 ticks; the two end half a period apart, so that no tick does both look-ups
    turn = k[_TURN]
    if turn < 47:
        k[_TURN] = turn + 1
    else:
        k[_TURN] = 32
    if turn == 0:  # nothing to average yet
        _warm(out, HEATSINK, out[channels.NTC_HEATSINK])
        _warm(out, PART, out[channels.NTC_PART])
        k[_HEATSINK_SUM] = 0
    elif turn == 8:
        k[_PART_SUM] = 0
    elif turn & 15 == 0:
        _warm(out, HEATSINK, k[_HEATSINK_SUM] >> 4)
        k[_HEATSINK_SUM] = 0
    elif turn & 15 == 8:
        _warm(out, PART, k[_PART_SUM] >> 4)
        k[_PART_SUM] = 0


class Sense:
    """One tick's readings, as attributes in mA, mV and 0.1 C.

    ``heatsink_ntc`` and ``part_ntc`` are NTC_OK, NTC_OPEN or NTC_SHORT; a temperature that cannot be read is
    ``NO_READING``. ``sensor_a_mv`` and ``sensor_b_mv`` are referred to a feed of exactly 5000 mV while
    the measured feed is in range (``feed_ok``), else as measured. ``values`` holds them all by index, for the
    tick: on the chip an attribute that is computed costs a call. ``kind`` of board gives the current ranges.
    """

    def __init__(self, calibration, kind=0):
        self.calibration = calibration
        self._finer = channels.FINER[kind]
        self.values = array("i", [0] * N_VALUES)
        self.words = array("i", [0] * _WORDS)
        if kind != channels.FEW:
            self.words[_FADE_START] = FADE_START_MA // self._finer
            self.words[_FADE_SPAN] = (FADE_END_MA - FADE_START_MA) // self._finer
        for at in (HEATSINK, PART):
            self.values[at] = NO_READING + BIAS
            self.values[at + _CONDITION] = NTC_OPEN
        self.reload()

    def update(self, counts):
        """Take one scan (``array('H')`` of N_CHANNELS) over, as the tick does by itself."""
        convert(counts, self.words, self.values)

    def reload(self):
        """Take the calibration's zeros and trims over (after it changed; not in the tick)."""
        for channel, (full, shift) in enumerate(_SCALES):
            trim = 32768 + self.calibration.trim[channel]
            if calib.ideal_zero(channel) and self._finer > 1:  # a current
                full //= self._finer
                shift += 3
            elif channel == channels.SENSOR_A and not self.words[_FADE_SPAN]:  # feed and reference are one
                full = FEED_NOMINAL_MV
            mul = (full * (1 << shift) * trim + (channels.FULL_SCALE << 14)) // (channels.FULL_SCALE << 15)
            self.words[_PER_CHANNEL * channel] = self.calibration.zero[channel] + _ZERO_BIAS
            self.words[_PER_CHANNEL * channel + _MUL] = mul
            self.words[_PER_CHANNEL * channel + _SHIFT] = shift
        self.words[_TURN] = 0

    @property
    def current_ma(self):
        """Merged mean current of the tick."""
        return self.values[MERGED]

    @property
    def current_max_ma(self):
        """Highest coarse reading of the tick."""
        return self.values[channels.I_MAX]

    @property
    def current_min_ma(self):
        """Lowest coarse reading of the tick."""
        return self.values[channels.I_MIN]

    @property
    def bus_mv(self):
        """Supply at the bridge."""
        return self.values[channels.BUS]

    @property
    def vin_mv(self):
        """Supply at the terminals."""
        return self.values[channels.VIN]

    @property
    def leg_a_mv(self):
        """Output A."""
        return self.values[channels.LEG_A]

    @property
    def leg_b_mv(self):
        """Output B."""
        return self.values[channels.LEG_B]

    @property
    def sensor_a_mv(self):
        """First position sensor, at a feed of 5000 mV."""
        return self.values[RATIO_A]

    @property
    def sensor_b_mv(self):
        """Second position sensor, at a feed of 5000 mV."""
        return self.values[RATIO_B]

    @property
    def feed_mv(self):
        """The 5 V feed of the part's sensors."""
        return self.values[channels.FEED]

    @property
    def feed_ok(self):
        """1 while the feed is in range."""
        return 1 if FEED_MIN_MV <= self.feed_mv <= FEED_MAX_MV else 0

    @property
    def heatsink_dc(self):
        """Heatsink."""
        return self.values[HEATSINK] - BIAS

    @property
    def heatsink_ntc(self):
        """State of its thermistor."""
        return self.values[HEATSINK_NTC]

    @property
    def part_dc(self):
        """Part."""
        return self.values[PART] - BIAS

    @property
    def part_ntc(self):
        """State of its thermistor."""
        return self.values[PART_NTC]

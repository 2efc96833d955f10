"""The converter channels of one scan: their order, and their nominal full scale.

A scan is an ``array('H')`` of ``N_CHANNELS`` readings, 16 bit left aligned (a 12-bit converter's code times
16; means over a tick carry the extra bits).
"""

from strokefw.compat import const

I_COARSE = const(0)  # in-line shunt, coarse gain, mean over the whole PWM periods of the tick
I_FINE = const(1)  # the same shunt, fine gain, mean
BUS = const(2)  # bridge supply, behind the main switch
VIN = const(3)  # supply terminals, before the switch
LEG_A = const(4)
LEG_B = const(5)
SENSOR_A = const(6)
SENSOR_B = const(7)
FEED = const(8)  # the 5 V that feeds the part's sensors
NTC_HEATSINK = const(9)
NTC_PART = const(10)
I_MAX = const(11)  # coarse current, highest reading within the tick
I_MIN = const(12)  # coarse current, lowest reading within the tick
N_CHANNELS = const(13)

LATCH_FELL = const(1 << 12)  # in what a board's ``trips()`` returns: its hard latch has fallen

NAMES = (
    "current_coarse", "current_fine", "supply", "vin", "output_a", "output_b", "sensor_a", "sensor_b", "feed",
    "ntc_heatsink", "ntc_part", "current_max", "current_min",
)  # fmt: skip

FULL_SCALE = const(65520)  # counts at the reference, 4095 * 16
REFERENCE_MV = const(3300)
MID_SCALE = const(32760)  # counts of zero current (both current channels are centred on half the reference)

# how much finer both current ranges are, by board kind: 10 mOhm instead of 1 on the small and the beginner's
FINER = bytes((1, 10, 1, 1, 10))
# The kind of board that measures three signals only, all with the chip's own converter: the current in one
# range, BUS, and SENSOR_A as a share of its feed. Its other channels stay 0, and nobody may judge them.
FEW = const(4)
COARSE_FULL_MA = const(165000)  # span of FULL_SCALE: 3.3 V / (1 mOhm * 20), i.e. +-82.5 A about MID_SCALE
FINE_FULL_MA = const(16500)  # 3.3 V / (1 mOhm * 200), i.e. +-8.25 A; trusted to +-7.2 A
SUPPLY_FULL_MV = const(25300)  # BUS, VIN, LEG_A, LEG_B: divider 180k / 27k
SENSOR_FULL_MV = const(5133)  # SENSOR_A, SENSOR_B, FEED: divider 100k / 180k
NTC_PULLUP_OHM = const(4700)  # to the reference; NTC 10k B3950 to ground

# the endless stream of one channel's single readings
RAW_HZ = const(125000)  # a channel's share of the chip's converter, which takes four in turn
RAW_READINGS = const(32768)  # kept: 262 ms at the full rate; a power of two, so that numbers wrap with it
RAW_SAFE = const(31744)  # the rest the next ticks may be overwriting

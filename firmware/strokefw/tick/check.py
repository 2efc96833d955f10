"""The words of the self-test, its bounds, and the judgement of one value: what all of its steps share.

Sums, and what may be negative, are biased: see compat.py.
"""

from strokefw import faults
from strokefw.compat import const, micropython, ptr32
from strokefw.sensing import sense as at

# ids of the results
CALIBRATION = const(1)
ESTOP = const(2)
ZERO_FINE = const(3)
ZERO_COARSE = const(4)
REFERENCE = const(5)
SUPPLY = const(6)
HEATSINK = const(7)
PRECHARGE = const(8)
LEG_A = const(9)
LEG_B = const(10)
LEGS_APART = const(11)
PULSE = const(12)  # to 15: a low, a high, b low, b high
JOINED = const(16)
LOOP = const(17)
MAIN = const(18)
EDGE = const(19)
WAY = const(20)  # and 21: the fast limit for positive current, for negative
HELD = const(22)  # by a board with few signals alone
IDS = const(23)
# steps
NEW = const(8)  # to be told how; see ``start``
BEGIN = const(7)
REST = const(0)
CHARGE = const(1)
FLOAT = const(2)
PULSES = const(3)
LOOP_STEP = const(4)
CLOSE = const(5)
DONE = const(6)
WAYS = const(9)
CODE = const(0)  # words: the first fault
STEP = const(1)
TICKS = const(2)  # of the step
FLAGS = const(3)  # of the limits, and TO_ARM
SUM_A = const(4)
SUM_B = const(5)
SUM_C = const(6)
SUM_D = const(7)
LEG = const(8)
PULLED = const(9)
OTHER = const(10)
MIN_MV = const(11)
MAX_MV = const(12)
CALIBRATED = const(13)
FINER = const(14)  # how much finer the board's current ranges are than the reference bench's
# what is judged in this tick, 0 nothing; biased: its value and bounds; the fault if it is outside
ITEM = const(15)
VALUE = const(16)
AT_LOW = const(17)
AT_HIGH = const(18)
WRONG = const(19)
# of the fast limit; levels and edges in mA, biased
LIMIT = const(20)  # in force, mA
LEVEL = const(21)  # what the board is to be set to
TRIPS_AT = const(22)  # a level at which the comparators trip at no current, and one at which they are quiet
QUIET_AT = const(23)
LOOK_AT = const(24)  # the tick in which to look next
EDGE_AT = const(25)  # the level at which they just trip at no current: levels are shifted by it from then on
CUT = const(26)  # cut PWM cycles, counted up by the tick
PUSH = const(27)  # drive of a pulse
SEEN = const(28)  # its current, mA
DID = const(29)  # other than 0 in a tick in which the board had something to do
FEW = const(30)  # 1 on a board with few signals (channels.FEW), which skips what it cannot see
WORDS = const(31)
# of a result, four words each
RESULT_WORDS = const(4)
LOW = const(1)
HIGH = const(2)
STATE = const(3)
# what the board is to do
NOTHING = const(0)
PULSE_ONE = const(1)  # the MOSFET of LEG alone
DRIVE_LOOP = const(2)
DRIVE_OFF = const(3)
END = const(4)  # drive off, and after a fault the rail open
OPEN = const(5)  # the rail; behind it in the order of Board.rail
PRECHARGE_RAIL = const(6)
CLOSE_RAIL = const(7)
SET_LEVEL = const(8)  # of the fast limit
PUSH_PART = const(9)  # a pulse, which the next tick ends

MEAN_TICKS = const(32)  # a power of two, and long enough for a new mean of both thermistors
SETTLE_TICKS = const(16)
CHARGE_TICKS = const(2000)
CLOSE_TICKS = const(20)
DISCHARGE_TICKS = const(4500)
PULSE_TICKS = const(4)  # a pulse's reading may come one or two ticks late
LOOP_TICKS = const(6)
LOOP_DRIVE = const(300)  # 3 % of the supply for 6 ms moves no part
SHORT_MOHM = const(80)  # part and leads together below this: shorted
ZERO_FINE_MA = const(60)  # both on the reference bench, less on a finer board
ZERO_COARSE_MA = const(700)  # the chip's own converter has steps of ten codes at the middle of its range
FLOAT_LOW = const(290)  # permille of the bus; a healthy leg floats at about 407
FLOAT_HIGH = const(540)
APART = const(60)
HEATSINK_MIN_DC = const(-300)
MAIN_LOW_MV = const(-1500)
# The fast limit. Its level passes a filter of 1 ms, and is a whole number of PWM steps of 81 mA: 32 of them
# are looked through, by halves. On the reference bench; a finer board divides all currents.
EDGE_FIRST_TICKS = const(12)  # from any level
EDGE_TICKS = const(6)  # from one looked at to the next
EDGES_TICKS = const(49)  # seven looks
EDGE_SPAN_MA = const(1280)
EDGE_MA = const(1200)  # an edge further from zero is not corrected
TO_ARM = const(8)  # of the flags: only then the part gets the pulses, up to the whole supply for 1 ms
WAY_TICKS = const(10)
WAY_LEVEL_MA = const(300)  # above the edge
WAY_MA = const(1900)  # seen and not cut: this comparator acts 1.6 A later than the other, or never
WAY_TOP_MA = const(2050)
PUSH_MAX = const(9600)
PULLED_LOW = const(150)
PULLED_HIGH = const(850)
PASSED = const(1)  # of a result; 0: not looked at
FAILED = const(2)
BACKWARD = const(1)  # in LEG, while a board with few signals does DRIVE_LOOP; 0 before
HELD_LOW = const(700)  # permille of its supply that a bridge without a short keeps while it switches
# ids that a board with few signals cannot look at: fine range, feed, heatsink, terminals (twice), outputs
UNSEEN = const(1 << 3 | 1 << 5 | 1 << 7 | 1 << 8 | 1 << 11 | 1 << 18)
NONE = const(-1)  # a bound that is not there
BIG = const(1000000)


@micropython.viper
def prepare(w: ptr32, how: int, min_mv: int, max_mv: int):
    """Begin anew with the next tick; bit 0 of ``how``: calibrated, above it the flags of the limits."""
    w[CODE] = 0
    w[STEP] = BEGIN
    w[TICKS] = 0
    w[CALIBRATED] = how & 1
    w[FLAGS] = how >> 1
    w[MIN_MV] = min_mv
    w[MAX_MV] = max_mv


@micropython.viper
def go(w: ptr32, step: int):
    """Begin a step with the next tick."""
    w[STEP] = step
    w[TICKS] = 0
    for i in range(SUM_A, SUM_D + 1):
        w[i] = at.BIAS


@micropython.viper
def ask(w: ptr32, item: int, value: int, low: int, high: int, code: int):
    """Have a value judged at the end of this tick."""
    w[ITEM] = item
    w[VALUE] = value + at.BIAS
    w[AT_LOW] = low + at.BIAS
    w[AT_HIGH] = high + at.BIAS
    w[WRONG] = code


@micropython.viper
def judge(w: ptr32, r: ptr32):
    """Keep what was asked for in ``r``. The first fault counts, but one that only warns gives way to a real
    one.
    """
    item = w[ITEM]
    w[ITEM] = 0
    if item == 0 or UNSEEN >> item & w[FEW]:
        return
    value = w[VALUE]
    place = RESULT_WORDS * item
    r[place] = value - at.BIAS
    r[place + LOW] = w[AT_LOW] - at.BIAS
    r[place + HIGH] = w[AT_HIGH] - at.BIAS
    r[place + STATE] = PASSED
    if value < w[AT_LOW] or value > w[AT_HIGH]:
        r[place + STATE] = FAILED
        if w[CODE] == 0 or w[CODE] == faults.CALIBRATION:
            w[CODE] = w[WRONG]

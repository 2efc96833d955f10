"""Guards of voltages: the supply, outputs that do not follow the drive, the sensor's feed.

The supply at rest is remembered while next to nothing is drawn, so that a flat battery and a weak lead
are told apart when the voltage falls. One kernel per tick, see current.py.
"""

from strokefw import channels, faults
from strokefw.compat import const, micropython, ptr32
from strokefw.sensing import sense

MIN_MV = const(0)
MAX_MV = const(1)
USES_FEED = const(2)  # 1: the part uses the 5 V feed
REST_16 = const(3)  # supply at rest, mV * 16; 0 = not known yet
LOW_SEEN = const(4)
HIGH_SEEN = const(5)
CUT_SEEN = const(6)
DEEP_SEEN = const(7)
FOLLOW_SEEN = const(8)
FEED_SEEN = const(9)
FLOAT_SEEN = const(10)
CLOSED = const(11)  # 1 while the main switch is closed
NO_LEGS = const(12)  # 1 on a board that measures neither outputs nor terminals nor feed
WORDS = const(13)

LOW_TICKS = const(20)  # a motor's inrush may dip the supply for a moment
DEEP_MV = const(6000)  # below, the gate drive is no longer sure: off, after two ticks
DEEP_TICKS = const(2)
HIGH_TICKS = const(3)
HARD_MV = const(20000)  # at once
CUT_MV = const(1500)
CUT_TICKS = const(5)
REST_MA = const(300)
LOAD_MA = const(500)
REST_OVER_MV = const(300)
FED_BACK_MV = const(500)  # further above the supply the bus is not by tolerances: a part fed back
FOLLOW_MV = const(800)
FOLLOW_TICKS = const(50)
FLOAT_LOW = const(580)  # permille of the bus, both outputs together; healthy ones float at about 815
FLOAT_HIGH = const(1080)
FLOAT_TICKS = const(250)
FEED_TICKS = const(20)

# places in CODES
_SUPPLY_LOW = const(1)
_SUPPLY_SAG = const(2)
_SUPPLY_HIGH = const(3)
_REGEN_HIGH = const(4)
_SUPPLY_CUT = const(5)
_LEG_FOLLOW = const(6)
_FEED_RANGE = const(7)
_NO_SUPPLY = const(8)
_LEG_HIGH = const(9)
_LEG_LOW = const(10)
CODES = bytes(
    (
        0,
        faults.SUPPLY_LOW,
        faults.SUPPLY_SAG,
        faults.SUPPLY_HIGH,
        faults.REGEN_HIGH,
        faults.SUPPLY_CUT,
        faults.LEG_FOLLOW,
        faults.FEED_RANGE,
        faults.NO_SUPPLY,
        faults.LEG_HIGH,
        faults.LEG_LOW,
    )
)


@micropython.viper
def watch(s: ptr32, v: ptr32, drive: int, gate: int, rail: int, trips: int) -> int:
    # Returns a place in CODES, 0 when nothing is wrong.
    wrong = 0
    if rail != 2:
        s[CLOSED] = 0
        return 0
    if s[CLOSED] == 0:
        s[CLOSED] = 1
        for i in range(REST_16, CLOSED):
            s[i] = 0
    bus = v[channels.BUS]
    drawn_ma = (
        (v[sense.B_MERGED] - sense.BIAS) * drive // 10000
    )  # out of the bus; negative while the part feeds back
    size = drive
    if size < 0:
        size = 0 - size

    if s[USES_FEED] > s[NO_LEGS] and gate:
        feed = v[channels.FEED]
        if feed < sense.FEED_MIN_MV or feed > sense.FEED_MAX_MV:
            s[FEED_SEEN] += 1
            if s[FEED_SEEN] > FEED_TICKS:
                s[FEED_SEEN] = FEED_TICKS
                wrong = _FEED_RANGE
        else:
            s[FEED_SEEN] = 0

    # a flat battery is low at rest too; a weak lead only under load
    rest = s[REST_16]
    if drawn_ma < REST_MA and drawn_ma > 0 - REST_MA:
        if rest == 0:
            rest = bus << 4
        else:
            rest += bus - (rest >> 4)
        s[REST_16] = rest
    low = s[LOW_SEEN]
    if bus < s[MIN_MV]:
        low += 1
        if low >= LOW_TICKS:
            low = LOW_TICKS
            wrong = _SUPPLY_LOW
            if drawn_ma > LOAD_MA and (rest >> 4) > s[MIN_MV] + REST_OVER_MV:
                wrong = _SUPPLY_SAG
    elif low > 0:
        low -= 1
    s[LOW_SEEN] = low

    # the switching output's mean is the supply times |drive|, the other's is near ground
    between = v[channels.LEG_A] - v[channels.LEG_B]
    if between < 0:
        between = 0 - between
    off = between - bus * size // 10000
    allowed = FOLLOW_MV + (bus >> 3)
    if gate == 0 or trips or s[NO_LEGS] or (off < allowed and off > 0 - allowed):
        s[FOLLOW_SEEN] = 0
    else:
        s[FOLLOW_SEEN] += 1
        if s[FOLLOW_SEEN] > FOLLOW_TICKS:
            s[FOLLOW_SEEN] = FOLLOW_TICKS
            wrong = _LEG_FOLLOW

    if bus < DEEP_MV:
        s[DEEP_SEEN] += 1
        if s[DEEP_SEEN] >= DEEP_TICKS:
            s[DEEP_SEEN] = DEEP_TICKS
            wrong = _NO_SUPPLY
            if v[channels.VIN] > bus + CUT_MV:
                wrong = _SUPPLY_CUT
    else:
        s[DEEP_SEEN] = 0
    # with the bridge off both outputs float where their resistors put them; a turning part moves them
    # apart only
    s_float = s[FLOAT_SEEN]
    if gate or s[NO_LEGS] or bus < s[MIN_MV]:
        s_float = 0
    else:
        both = (v[channels.LEG_A] + v[channels.LEG_B]) * 1000 // bus
        if both < FLOAT_LOW or both > FLOAT_HIGH:
            s_float += 1
            if s_float > FLOAT_TICKS:
                s_float = FLOAT_TICKS
                wrong = _LEG_HIGH if both > FLOAT_HIGH else _LEG_LOW
        else:
            s_float = 0
    s[FLOAT_SEEN] = s_float

    if v[channels.VIN] > bus + CUT_MV:
        s[CUT_SEEN] += 1
        if s[CUT_SEEN] >= CUT_TICKS:
            s[CUT_SEEN] = CUT_TICKS
            wrong = _SUPPLY_CUT
    else:
        s[CUT_SEEN] = 0
    if bus > s[MAX_MV]:
        s[HIGH_SEEN] += 1
        if s[HIGH_SEEN] >= HIGH_TICKS or bus > HARD_MV:
            s[HIGH_SEEN] = HIGH_TICKS
            wrong = _SUPPLY_HIGH
            if drawn_ma < 0 - REST_MA or (size and s[NO_LEGS] == 0 and bus > v[channels.VIN] + FED_BACK_MV):
                wrong = _REGEN_HIGH
    else:
        s[HIGH_SEEN] = 0
    return wrong

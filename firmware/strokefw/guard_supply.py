"""Guards of the supply: too low at rest, sagging under load, too high, cut off, pushed up by regeneration.

The supply at rest is remembered while next to nothing is drawn, so that a flat battery and a weak lead are told
apart when the voltage falls.
"""

from array import array

from strokefw import faults
from strokefw.compat import const, micropython, ptr32

MIN_MV = const(0)
MAX_MV = const(1)
REST_16 = const(2)  # supply at rest, mV * 16; 0 = not known yet
LOW_SEEN = const(3)
HIGH_SEEN = const(4)
CUT_SEEN = const(5)
_WORDS = const(6)

LOW_TICKS = const(20)  # a motor's inrush may dip the supply for a moment
DEEP_MV = const(6000)  # below, the gate drive is no longer sure
DEEP_STEP = const(10)  # a deep dip counts for so many ticks: two of them are enough
HIGH_TICKS = const(3)
HARD_MV = const(20000)  # at once
CUT_MV = const(1500)
CUT_TICKS = const(5)
REST_MA = const(300)
LOAD_MA = const(500)
REST_OVER_MV = const(300)

_NOTHING = const(0)
_LOW = const(1)
_SAG = const(2)
_HIGH = const(3)
_PUSHED = const(4)
_CUT = const(5)
_CODES = bytes((
    0, faults.SUPPLY_LOW, faults.SUPPLY_SAG, faults.SUPPLY_HIGH, faults.REGEN_HIGH, faults.SUPPLY_CUT,
))


@micropython.viper
def _watch(s: ptr32, bus: int, vin: int, drawn_ma: int) -> int:
    # drawn_ma: mean current out of the bus, negative while the part feeds back
    told = 0
    rest = s[REST_16]
    if drawn_ma < REST_MA and drawn_ma > 0 - REST_MA:
        rest = bus << 4 if rest == 0 else rest + bus - (rest >> 4)
        s[REST_16] = rest
    low = s[LOW_SEEN]
    if bus < s[MIN_MV]:
        low += DEEP_STEP if bus < DEEP_MV else 1
        if low >= LOW_TICKS:
            low = LOW_TICKS
            told = _LOW
            if drawn_ma > LOAD_MA and (rest >> 4) > s[MIN_MV] + REST_OVER_MV:
                told = _SAG
    elif low > 0:
        low -= 1
    s[LOW_SEEN] = low
    if vin > bus + CUT_MV:
        s[CUT_SEEN] += 1
        if s[CUT_SEEN] >= CUT_TICKS:
            told = _CUT
    else:
        s[CUT_SEEN] = 0
    if bus > s[MAX_MV]:
        s[HIGH_SEEN] += 1
        if s[HIGH_SEEN] >= HIGH_TICKS or bus > HARD_MV:
            told = _PUSHED if drawn_ma < 0 - REST_MA else _HIGH
    else:
        s[HIGH_SEEN] = 0
    return told


class SupplyGuard:
    """Watches the bridge's supply while the main switch is closed."""

    def __init__(self):
        self._s = array("i", [0] * _WORDS)
        self.set(6000, 17000)

    def set(self, min_mv, max_mv):
        """Put a window in force."""
        self._s[MIN_MV] = min_mv
        self._s[MAX_MV] = max_mv

    def fresh(self):
        """Forget counts and the supply at rest (the main switch has just closed)."""
        for i in range(REST_16, _WORDS):
            self._s[i] = 0

    def room_mv(self, bus_mv):
        """Return what is left to the upper limit."""
        return self._s[MAX_MV] - bus_mv

    def update(self, bus_mv, vin_mv, drawn_ma):
        """Look at one tick; return a fault code or 0."""
        return _CODES[_watch(self._s, bus_mv, vin_mv, drawn_ma)]

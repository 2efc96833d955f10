"""Self-test before the supply reaches the bridge: small steps, one call per tick, moving nothing.

With the bridge's supply open: readings that must be near zero, the 5 V reference, the supply at the
terminals, the thermistor. Then through the precharge resistor: does the bridge charge, do the floating
outputs stand where their pull resistors put them (a shorted or leaking MOSFET pulls them away), does each
MOSFET alone pull its output, does the other output follow through the part, does a little voltage make a
huge current. Only then the main switch.
"""

from array import array

from strokefw import channels, faults
from strokefw.compat import const, keep_bound, micropython, ptr8, ptr32, word
from strokefw.guard import limits as guard_limits
from strokefw.sensing import sense as at

NAMES = (
    "", "calibration", "estop", "current_zero_fine_ma", "current_zero_coarse_ma", "reference_mv",
    "supply_mv", "heatsink_dc", "precharge_permille", "leg_a_permille", "leg_b_permille",
    "legs_apart_permille", "pulse_a_low_permille", "pulse_a_high_permille", "pulse_b_low_permille",
    "pulse_b_high_permille", "joined_permille", "loop_ma", "main_switch_mv",
)  # fmt: skip
# ids of the results
_CALIBRATION = const(1)
_ESTOP = const(2)
_ZERO_FINE = const(3)
_ZERO_COARSE = const(4)
_REFERENCE = const(5)
_SUPPLY = const(6)
_HEATSINK = const(7)
_PRECHARGE = const(8)
_LEG_A = const(9)
_LEG_B = const(10)
_APART = const(11)
_PULSE = const(12)  # to 15: a low, a high, b low, b high
_JOINED = const(16)
_LOOP = const(17)
_MAIN = const(18)
_IDS = const(19)
# steps
NEW = const(8)  # to be told how; see ``start``
_BEGIN = const(7)
_REST = const(0)
_CHARGE = const(1)
_FLOAT = const(2)
_PULSES = const(3)
_LOOP_STEP = const(4)
_CLOSE = const(5)
_DONE = const(6)
CODE = const(0)  # words: the first fault
STEP = const(1)
_TICKS = const(2)  # of the step
_FLAGS = const(3)  # of the limits
_SUM_A = const(4)
_SUM_B = const(5)
_SUM_C = const(6)
_SUM_D = const(7)
_LEG = const(8)
_PULLED = const(9)
_OTHER = const(10)
_MIN_MV = const(11)
_MAX_MV = const(12)
_CALIBRATED = const(13)
_WORDS = const(14)

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
PULLED_LOW = const(150)
PULLED_HIGH = const(850)
_PASSED = const(1)  # of a result; 0: not looked at
_FAILED = const(2)
_NONE = const(-1)  # a bound that is not there
_BIG = const(1000000)


@micropython.viper
def _clear(state: ptr8):
    for i in range(_IDS):
        state[i] = 0


@micropython.viper
def _note(
    values: ptr32, lows: ptr32, highs: ptr32, state: ptr8, item: int, value: int, low: int, high: int
) -> int:
    # keep a result and its bounds; 1 when it lies within them
    values[item] = value
    lows[item] = low
    highs[item] = high
    if value < low or value > high:
        state[item] = _FAILED
        return 0
    state[item] = _PASSED
    return 1


@micropython.viper
def _prepare(w: ptr32, how: int, min_mv: int, max_mv: int):
    w[CODE] = 0
    w[STEP] = _BEGIN
    w[_CALIBRATED] = how & 1
    w[_FLAGS] = how >> 1
    w[_MIN_MV] = min_mv
    w[_MAX_MV] = max_mv


@micropython.viper
def _go(w: ptr32, step: int):
    w[STEP] = step
    w[_TICKS] = 0
    w[_SUM_A] = 0
    w[_SUM_B] = 0
    w[_SUM_C] = 0
    w[_SUM_D] = 0


@micropython.viper
def _pull(w: ptr32, v: ptr32):
    # how far the pulsed leg is pulled, and where the other one stands then, in permille of the bus
    leg = w[_LEG] >> 1
    bus = v[channels.BUS] + 1
    own = v[channels.LEG_A + leg] * 1000 // bus
    if w[_LEG] & 1:
        if own > w[_PULLED]:
            w[_PULLED] = own
            w[_OTHER] = v[channels.LEG_B - leg] * 1000 // bus
    elif own < w[_PULLED]:
        w[_PULLED] = own


class SelfTest:
    """``start``, then ``step`` in each tick until it returns 1; ``code`` is then 0 or the first fault."""

    code = word(CODE)

    def __init__(self, board, sense, kind=0):
        self._finer = channels.FINER[kind]
        self._board = board
        self._sense = sense
        self.words = array("i", [0] * _WORDS)
        self._value = array("i", [0] * _IDS)
        self._low = array("i", [0] * _IDS)
        self._high = array("i", [0] * _IDS)
        self._state = bytearray(_IDS)
        self.words[STEP] = _DONE
        keep_bound(
            self, "start", "step", "_begin", "_judge", "_failed", "_end", "_at_rest", "_charge",
            "_float", "_pulses", "_loop", "_close",
        )  # fmt: skip

    @property
    def results(self):
        """List of (id, value, low, high, ok) of what was looked at; ``NAMES[id]`` says what it is."""
        found = []
        for i in range(_IDS):
            if self._state[i]:
                found.append((i, self._value[i], self._low[i], self._high[i], self._state[i] == _PASSED))
        return found

    @micropython.native
    def start(self, calibration_ok, flags, supply_min_mv=0, supply_max_mv=0):
        """Begin anew with the next step, bridge off; bounds of 0 mean the bench's own supply window."""
        _prepare(self.words, calibration_ok | flags << 1, supply_min_mv or 8000, supply_max_mv or 17000)

    @micropython.native
    def _begin(self):
        _clear(self._state)
        self._board.rail(0)
        _go(self.words, _REST)

    @micropython.native
    def _judge(self, item, value, low, high, code):
        # note a result; the first fault counts, but one that only warns gives way to a real one
        w = self.words
        good = _note(self._value, self._low, self._high, self._state, item, value, low, high)
        if not good and (w[CODE] == 0 or w[CODE] == faults.CALIBRATION):
            w[CODE] = code

    @micropython.native
    def _failed(self):
        w = self.words
        return w[CODE] != 0 and w[CODE] != faults.CALIBRATION

    @micropython.native
    def step(self):
        """Do one tick's work, one judgement at most; return 1 when nothing is left. Allocates nothing."""
        w = self.words
        step = w[STEP]
        if step == _DONE:
            return 1
        w[_TICKS] += 1
        if step == _BEGIN:
            self._begin()
        elif step == _REST:
            self._at_rest()
        elif step == _CHARGE:
            self._charge()
        elif step == _FLOAT:
            self._float()
        elif step == _PULSES:
            self._pulses()
        elif step == _LOOP_STEP:
            self._loop()
        else:
            self._close()
        code = w[CODE]
        if code and code != faults.CALIBRATION and w[STEP] != _DONE:
            self._end()
        return 0

    @micropython.native
    def _end(self):
        w = self.words
        w[STEP] = _DONE
        self._board.drive(0, 0)
        if self._failed():
            self._board.rail(0)

    def _at_rest(self):
        w = self.words
        v = self._sense.values
        turn = w[_TICKS] - MEAN_TICKS
        if turn <= 0:
            w[_SUM_A] += v[channels.I_FINE]
            w[_SUM_B] += v[channels.I_COARSE]
            w[_SUM_C] += v[channels.FEED]
            w[_SUM_D] += v[channels.VIN]
        elif turn == 1:
            self._judge(_ESTOP, self._board.estop(), 0, 0, faults.ESTOP)
        elif turn == 2:
            supply = w[_SUM_D] >> 5
            self._judge(_SUPPLY, supply, w[_MIN_MV], w[_MAX_MV], _supply_code(supply, w[_MAX_MV]))
        elif turn == 3:
            most = ZERO_FINE_MA // self._finer
            self._judge(_ZERO_FINE, w[_SUM_A] >> 5, -most, most, faults.CURRENT_ZERO)
        elif turn == 4:
            most = ZERO_COARSE_MA // self._finer
            self._judge(_ZERO_COARSE, w[_SUM_B] >> 5, -most, most, faults.CURRENT_ZERO)
        elif turn == 5:
            self._judge(_CALIBRATION, w[_CALIBRATED], 1, 1, faults.CALIBRATION)
        elif turn == 6:
            self._judge(_REFERENCE, w[_SUM_C] >> 5, 4750, 5250, faults.REFERENCE)
        elif turn == 7:
            heat = v[at.HEATSINK_NTC]
            broken = faults.HEATSINK_NTC_OPEN if heat == at.NTC_OPEN else faults.HEATSINK_NTC_SHORT
            if heat == at.NTC_OK:
                broken = faults.HEATSINK_HOT
            self._judge(_HEATSINK, v[at.HEATSINK] - at.BIAS, -300, guard_limits.HEATSINK_MAX_DC, broken)
        else:
            self._board.rail(1)
            _go(w, _CHARGE)

    def _charge(self):
        w = self.words
        v = self._sense.values
        vin = v[channels.VIN]
        share = v[channels.BUS] * 1000 // vin if vin > 1000 else 0
        # after a regeneration the bridge's capacitors may stand above the supply, and only their bleeder
        # empties them
        if 900 <= share <= 1100 or w[_TICKS] > (CHARGE_TICKS if share < 900 else DISCHARGE_TICKS):
            code = faults.PRECHARGE if share < 900 else faults.CHECK_TIMEOUT
            self._judge(_PRECHARGE, share, 900, 1100, code)
            _go(w, _FLOAT)

    def _float(self):
        w = self.words
        if w[_TICKS] <= SETTLE_TICKS:
            return
        turn = w[_TICKS] - 2 * SETTLE_TICKS
        if turn <= 0:
            v = self._sense.values
            w[_SUM_A] += v[channels.LEG_A]
            w[_SUM_B] += v[channels.LEG_B]
            w[_SUM_C] += v[channels.BUS]
        elif turn <= 2:
            leg = (w[_SUM_A] if turn == 1 else w[_SUM_B]) * 1000 // (w[_SUM_C] + 1)
            broken = faults.LEG_HIGH if leg > FLOAT_HIGH else faults.LEG_LOW
            self._judge(_LEG_A if turn == 1 else _LEG_B, leg, FLOAT_LOW, FLOAT_HIGH, broken)
        else:
            if w[_FLAGS] & guard_limits.PART_EXPECTED:
                apart = self._value[_LEG_A] - self._value[_LEG_B]
                self._judge(_APART, apart if apart > 0 else -apart, 0, APART, faults.LEG_DIFFER)
            w[_LEG] = 0
            _go(w, _PULSES)

    @micropython.native
    def _pulses(self):
        # w[_LEG] counts the four MOSFETs: a low, a high, b low, b high
        w = self.words
        side = w[_LEG] & 1
        turn = w[_TICKS] - PULSE_TICKS
        if w[_TICKS] == 1:
            w[_PULLED] = 0 if side else _BIG
            w[_OTHER] = 0
            self._board.pulse(w[_LEG] >> 1, side, 1000)
        elif turn <= 1:
            _pull(w, self._sense.values)
        elif turn == 2:
            low = PULLED_HIGH if side else _NONE
            self._judge(_PULSE + w[_LEG], w[_PULLED], low, _BIG if side else PULLED_LOW, faults.LEG_PULSE)
        else:
            if side and w[_FLAGS] & guard_limits.PART_EXPECTED:
                self._judge(_JOINED, w[_OTHER], PULLED_HIGH - 50, _BIG, faults.OPEN_LOAD)
            w[_LEG] += 1
            w[_TICKS] = 0
            if w[_LEG] == 4:
                _go(w, _LOOP_STEP if w[_FLAGS] & guard_limits.PART_EXPECTED else _CLOSE)

    def _loop(self):
        w = self.words
        v = self._sense.values
        if w[_TICKS] == 1:
            self._board.drive(LOOP_DRIVE, 1)
            return
        current_ma = v[at.MERGED]
        if current_ma > w[_SUM_A]:
            w[_SUM_A] = current_ma
        if w[_TICKS] == LOOP_TICKS + 1:
            self._board.drive(0, 0)
        elif w[_TICKS] > LOOP_TICKS + 1:
            most = v[channels.BUS] * LOOP_DRIVE // (10 * SHORT_MOHM)
            self._judge(_LOOP, w[_SUM_A], 0, most, faults.SHORTED_LOAD)
            _go(w, _CLOSE)

    def _close(self):
        w = self.words
        if w[_TICKS] == 1:
            self._board.rail(2)
        if w[_TICKS] > CLOSE_TICKS:
            v = self._sense.values
            self._judge(_MAIN, v[channels.VIN] - v[channels.BUS], -1500, 500, faults.SUPPLY_CUT)
            self._end()


def _supply_code(supply_mv, max_mv):
    if supply_mv > max_mv:
        return faults.SUPPLY_HIGH
    return faults.NO_SUPPLY if supply_mv < 6000 else faults.SUPPLY_LOW

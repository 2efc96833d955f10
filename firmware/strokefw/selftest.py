"""Self-test before the supply reaches the bridge: small steps, one call per tick, moving nothing.

With the bridge's supply open: readings that must be near zero, the 5 V reference, the supply at the
terminals, the thermistor. Then through the precharge resistor: does the bridge charge, do the floating
outputs stand where their pull resistors put them (a shorted or leaking MOSFET pulls them away), does each
MOSFET alone pull its output, does the other output follow through the part, does a little voltage make a
huge current. Only then the main switch.
"""

from array import array

from strokefw import channels, faults, guard_limits, ntc
from strokefw.compat import const, micropython

NAMES = (
    "", "calibration", "estop", "current_zero_fine_ma", "current_zero_coarse_ma", "reference_mv", "supply_mv",
    "heatsink_dc", "precharge_permille", "leg_a_permille", "leg_b_permille", "legs_apart_permille",
    "pulse_a_low_permille", "pulse_a_high_permille", "pulse_b_low_permille", "pulse_b_high_permille",
    "joined_permille", "loop_ma", "main_switch_mv",
)
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
_REST = const(0)
_CHARGE = const(1)
_FLOAT = const(2)
_PULSES = const(3)
_LOOP_STEP = const(4)
_CLOSE = const(5)
_DONE = const(6)

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
_NONE = const(-1)  # a bound that is not there
_BIG = const(1000000)


class SelfTest:
    """``start``, then ``step`` in each tick until it returns 1; ``code`` is then 0 or the first fault."""

    def __init__(self, board, sense, kind=0):
        self._finer = channels.FINER[kind]
        self._board = board
        self._sense = sense
        self.code = 0
        self._value = array("i", [0] * _IDS)
        self._low = array("i", [0] * _IDS)
        self._high = array("i", [0] * _IDS)
        self._state = bytearray(_IDS)  # 0 not looked at, 1 ok, 2 failed
        self._step = _DONE
        self._flags = self._ticks = 0
        self._sum_a = self._sum_b = self._sum_c = self._sum_d = 0
        self._leg = 0
        self._pulled = self._other = 0
        self._min_mv = self._max_mv = 0

    @property
    def results(self):
        """List of (id, value, low, high, ok) of what was looked at; ``NAMES[id]`` says what it is."""
        found = []
        for i in range(_IDS):
            if self._state[i]:
                found.append((i, self._value[i], self._low[i], self._high[i], self._state[i] == 1))
        return found

    @micropython.native
    def start(self, calibration_ok, flags, supply_min_mv=0, supply_max_mv=0):
        """Begin anew with rail open and bridge off; bounds of 0 mean the bench's own supply window."""
        state = self._state
        for i in range(_IDS):
            state[i] = 0
        self.code = 0
        self._flags = flags
        self._min_mv = supply_min_mv or 8000
        self._max_mv = supply_max_mv or 17000
        self._board.rail(0)
        self._board.drive(0, 0)
        self._judge(_CALIBRATION, calibration_ok, 1, 1, faults.CALIBRATION)
        self._go(_REST)

    def _go(self, step):
        self._step = step
        self._ticks = 0
        self._sum_a = self._sum_b = self._sum_c = self._sum_d = 0

    @micropython.native
    def _judge(self, item, value, low, high, code):
        # note a result; the first fault counts, but one that only warns gives way to a real one
        self._value[item] = value
        self._low[item] = low
        self._high[item] = high
        ok = low <= value <= high
        self._state[item] = 1 if ok else 2
        if not ok and (self.code == 0 or self.code == faults.CALIBRATION):
            self.code = code

    def _failed(self):
        return self.code != 0 and self.code != faults.CALIBRATION

    @micropython.native
    def step(self):
        """Do one tick's work; return 1 when done. Allocates nothing."""
        step = self._step
        if step == _DONE:
            return 1
        self._ticks += 1
        if step == _REST:
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
        if self._step != _DONE and self._failed():
            self._end()
        return 1 if self._step == _DONE else 0

    def _end(self):
        self._step = _DONE
        self._board.drive(0, 0)
        if self._failed():
            self._board.rail(0)

    def _at_rest(self):
        sense = self._sense
        self._sum_a += sense.values[1]
        self._sum_b += sense.values[0]
        self._sum_c += sense.feed_mv
        self._sum_d += sense.vin_mv
        if self._ticks < MEAN_TICKS:
            return
        self._judge(_ESTOP, self._board.estop(), 0, 0, faults.ESTOP)
        supply = self._sum_d >> 5
        self._judge(_SUPPLY, supply, self._min_mv, self._max_mv, _supply_code(supply, self._max_mv))
        most = ZERO_FINE_MA // self._finer
        self._judge(_ZERO_FINE, self._sum_a >> 5, -most, most, faults.CURRENT_ZERO)
        most = ZERO_COARSE_MA // self._finer
        self._judge(_ZERO_COARSE, self._sum_b >> 5, -most, most, faults.CURRENT_ZERO)
        self._judge(_REFERENCE, self._sum_c >> 5, 4750, 5250, faults.REFERENCE)
        broken = faults.HEATSINK_NTC_OPEN if sense.heatsink_ntc == ntc.OPEN else faults.HEATSINK_NTC_SHORT
        if sense.heatsink_ntc == ntc.OK:
            broken = faults.HEATSINK_HOT
        self._judge(_HEATSINK, sense.heatsink_dc, -300, guard_limits.HEATSINK_MAX_DC, broken)
        if not self._failed():
            self._board.rail(1)
            self._go(_CHARGE)

    def _charge(self):
        sense = self._sense
        share = sense.bus_mv * 1000 // sense.vin_mv if sense.vin_mv > 1000 else 0
        # after a regeneration the bridge's capacitors may stand above the supply, and only their bleeder
        # empties them
        if 900 <= share <= 1100 or self._ticks > (CHARGE_TICKS if share < 900 else DISCHARGE_TICKS):
            code = faults.PRECHARGE if share < 900 else faults.CHECK_TIMEOUT
            self._judge(_PRECHARGE, share, 900, 1100, code)
            self._go(_FLOAT)

    def _float(self):
        if self._ticks <= SETTLE_TICKS:
            return
        sense = self._sense
        self._sum_a += sense.leg_a_mv
        self._sum_b += sense.leg_b_mv
        self._sum_c += sense.bus_mv
        if self._ticks < 2 * SETTLE_TICKS:
            return
        a = self._sum_a * 1000 // (self._sum_c + 1)
        b = self._sum_b * 1000 // (self._sum_c + 1)
        self._judge(_LEG_A, a, FLOAT_LOW, FLOAT_HIGH, faults.LEG_HIGH if a > FLOAT_HIGH else faults.LEG_LOW)
        self._judge(_LEG_B, b, FLOAT_LOW, FLOAT_HIGH, faults.LEG_HIGH if b > FLOAT_HIGH else faults.LEG_LOW)
        if self._flags & guard_limits.PART_EXPECTED:
            self._judge(_APART, a - b if a > b else b - a, 0, APART, faults.LEG_DIFFER)
        self._leg = 0
        self._go(_PULSES)

    def _pulses(self):
        # self._leg counts the four MOSFETs: a low, a high, b low, b high
        leg = self._leg >> 1
        side = self._leg & 1
        if self._ticks == 1:
            self._pulled = 0 if side else _BIG
            self._other = 0
            self._board.pulse(leg, side, 1000)
            return
        sense = self._sense
        bus = sense.bus_mv + 1
        own = (sense.leg_b_mv if leg else sense.leg_a_mv) * 1000 // bus
        other = (sense.leg_a_mv if leg else sense.leg_b_mv) * 1000 // bus
        if side:
            if own > self._pulled:
                self._pulled = own
                self._other = other
        elif own < self._pulled:
            self._pulled = own
        if self._ticks <= PULSE_TICKS:
            return
        low = PULLED_HIGH if side else _NONE
        self._judge(_PULSE + self._leg, self._pulled, low, _BIG if side else PULLED_LOW, faults.LEG_PULSE)
        if side and self._flags & guard_limits.PART_EXPECTED:
            self._judge(_JOINED, self._other, PULLED_HIGH - 50, _BIG, faults.OPEN_LOAD)
        self._leg += 1
        self._ticks = 0
        if self._leg == 4:
            self._go(_LOOP_STEP if self._flags & guard_limits.PART_EXPECTED else _CLOSE)

    def _loop(self):
        sense = self._sense
        if self._ticks == 1:
            self._board.drive(LOOP_DRIVE, 1)
            return
        if sense.current_ma > self._sum_a:
            self._sum_a = sense.current_ma
        if self._ticks > LOOP_TICKS:
            self._board.drive(0, 0)
            most = sense.bus_mv * LOOP_DRIVE // (10 * SHORT_MOHM)
            self._judge(_LOOP, self._sum_a, 0, most, faults.SHORTED_LOAD)
            self._go(_CLOSE)

    def _close(self):
        if self._ticks == 1:
            self._board.rail(2)
        if self._ticks > CLOSE_TICKS:
            sense = self._sense
            self._judge(_MAIN, sense.vin_mv - sense.bus_mv, -1500, 500, faults.SUPPLY_CUT)
            self._end()


def _supply_code(supply_mv, max_mv):
    if supply_mv > max_mv:
        return faults.SUPPLY_HIGH
    return faults.NO_SUPPLY if supply_mv < 6000 else faults.SUPPLY_LOW

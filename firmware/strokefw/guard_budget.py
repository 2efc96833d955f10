"""Heat budgets for current: A2s above a rest current, for bench, leads and part; they refill below it.

Eight ticks are summed before the three budgets are brought up to date, so most ticks cost two lines. A budget's
scale is chosen so that its full size is a number of 29 bits.
"""

from array import array

from strokefw.compat import const, micropython, ptr32

BENCH = const(0)
LEADS = const(1)
PART = const(2)
_REST = const(0)  # (rest current / 8 mA) squared
_FULL = const(1)  # size in units of 64e-6 A2 * 8 ms * 2**shift
_SHIFT = const(2)
_SPENT = const(3)
_WORDS = const(4)
AMPS_MAX = const(90000)
_UNITS_PER_A2S = const(1953125)  # 1 / (64e-6 * 0.008)


@micropython.viper
def _spend(b: ptr32, square: int):
    for i in range(3):
        j = 4 * i
        spent = b[j + 3] + ((square - b[j]) >> b[j + 2])
        if spent < 0:
            spent = 0
        if spent > b[j + 1]:
            spent = b[j + 1]
        b[j + 3] = spent


class Budgets:
    """Spent shares of the three budgets; ``add`` once per tick with the current's magnitude in mA."""

    def __init__(self):
        self._b = array("i", [0] * (3 * _WORDS))
        self._sum = self._count = 0
        for which in (BENCH, LEADS, PART):
            self.set(which, 1000, 1)

    def set(self, which, rest_ma, budget_a2s):
        """Size one budget; what is already spent of it stays spent, in A2s (not in the tick)."""
        b = self._b
        j = which * _WORDS
        spent = b[j + _SPENT] << b[j + _SHIFT]
        full = budget_a2s * _UNITS_PER_A2S
        shift = 0
        while full >> shift >= 1 << 29:
            shift += 1
        b[j + _REST] = (rest_ma >> 3) * (rest_ma >> 3)
        b[j + _FULL] = full >> shift
        b[j + _SHIFT] = shift
        b[j + _SPENT] = min(spent, full) >> shift

    def add(self, amps):
        """Count one tick; return 1 in the ticks in which the budgets were brought up to date."""
        if amps > AMPS_MAX:
            amps = AMPS_MAX
        eighth = amps >> 3
        self._sum += eighth * eighth
        self._count += 1
        if self._count < 8:
            return 0
        _spend(self._b, self._sum >> 3)
        self._sum = self._count = 0
        return 1

    def left(self, which):
        """Return the permille left of a budget; 0 only when it is used up."""
        j = which * _WORDS
        full = self._b[j + _FULL]
        left = full - self._b[j + _SPENT]
        return (left >> 10) * 1000 // (full >> 10) if left >= 1024 else left and 1

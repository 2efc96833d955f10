"""Heat budgets for current: A2s above a rest current, for bench, leads and part; they refill below it.

Eight ticks are summed before the three budgets are brought up to date. A budget's scale is chosen so that
its full size is a number of 29 bits.
"""

from array import array

from strokefw.compat import const, micropython, ptr32

BENCH = const(0)
LEADS = const(1)
PART = const(2)
_REST = const(0)  # (rest current / 8 mA) squared; the first word, so no sum is needed to reach it
_FULL = const(1)  # size in units of 64e-6 A2 * 8 ms * 2**shift
_SHIFT = const(2)
_SPENT = const(3)
_LEFT = const(4)  # permille; 0 only when used up
_WORDS = const(5)
TICKS = const(8)
_UNITS_PER_A2S = const(1953125)  # 1 / (64e-6 * 0.008)


@micropython.viper
def spend(b: ptr32, squares: int) -> int:
    # Returns 0, or 1 + the first budget that is used up.
    square = squares >> 3
    empty = 0
    for i in range(3):
        j = _WORDS * i
        full = b[j + _FULL]
        spent = b[j + _SPENT] + ((square - b[j]) >> b[j + _SHIFT])
        if spent < 0:
            spent = 0
        if spent > full:
            spent = full
        b[j + _SPENT] = spent
        left = full - spent
        share = (left >> 10) * 1000 // (full >> 10)
        if share == 0 and left > 0:
            share = 1
        if share == 0 and empty == 0:
            empty = i + 1
        b[j + _LEFT] = share
    return empty


class Budgets:
    """Sizes and contents of the three budgets, in ``words``.

    Call ``spend(words, squares)`` every ``TICKS`` ticks with their sum of (current / 8 mA) squared.
    """

    def __init__(self):
        self.words = array("i", [0, 1 << 20, 0, 0, 1000] * 3)
        for which in (BENCH, LEADS, PART):
            self.set(which, 1000, 1)

    def set(self, which, rest_ma, budget_a2s):
        """Size one budget; what is already spent of it stays spent, in A2s (not in the tick)."""
        b = self.words
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
        b[j + _LEFT] = 1000 - 1000 * min(spent, full) // full

    def left(self, which):
        """Return the permille left of a budget; 0 only when it is used up."""
        return self.words[which * _WORDS + _LEFT]

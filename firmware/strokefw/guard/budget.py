"""Heat budgets for current: A2s above a rest current, for bench, leads and part; only time refills them.

What is spent is kept in A2s, whatever sizes come and go. It cools at the smallest rest current that was in
force since there was any: limits that allow more make no room. A budget that was emptied stays forbidden
until a fifth of the size at which it was emptied is there again.

Why this bounds the heat: a winding of one thermal mass follows C dT/dt = R i^2 - G T. The current it bears
for ever settles at G T_rest = R i_rest^2. Above T_rest it cools faster than this sum says, so the sum of
(i^2 - i_rest^2), never below zero, stays above C/R (T - T_rest) at any sequence of currents.

What the bench cannot know it assumes: at power-up half of each budget is spent. That cools at the rest
current in force, after what is known. A profile that comes later finds half of its own less what has cooled.
"""

from array import array

from strokefw.compat import const, micropython, ptr32

BENCH = const(0)
LEADS = const(1)
PART = const(2)
REST = const(0)  # rest current in force / 8 mA
TIGHT = const(1)  # the smallest one since there was heat
FULL = const(2)  # size in units of 64e-6 A2 * 8 ms * 512
SPENT = const(3)
_REMAINDER = const(4)  # of SPENT, 1/512
OWED = const(5)  # emptied: what is spent must come down to this first; 0 when nothing is owed
ASSUMED = const(6)  # what may be spent besides, from before power-up
WORDS = const(7)
TURNS = const(21)  # behind the three: calls since power-up in which the part cooled, TURNS_MAX at most
ALL_WORDS = const(32)  # stall.py has the rest
TICKS = const(8)
TURNS_MAX = const(131071)  # 17 minutes
MOST = const(536870911)  # more heat is not counted: 140000 A2s
_UNITS_PER_KA2S = const(3814697)  # 1000 / (64e-6 * 0.008 * 512)
UNKNOWN = const(
    500
)  # permille that may be spent already when the power comes, of a budget or of the time held
_REFILLED = const(5)  # a fifth of an emptied budget must be there again before it lets one clear or arm


@micropython.viper
def spend(b: ptr32, squares: int) -> int:
    # Returns 0, or 1 + the first budget that is used up or was and is not refilled.
    square = squares >> 3
    empty = 0
    for i in range(3):
        j = WORDS * i
        change = square - b[j + REST] * b[j + REST]
        if change < 0:
            change = square - b[j + TIGHT] * b[j + TIGHT]
            if change > 0:
                change = 0
        change += b[j + _REMAINDER]
        spent = b[j + SPENT] + (change >> 9)
        b[j + _REMAINDER] = change & 511
        assumed = b[j + ASSUMED]
        if spent <= 0:
            if spent < 0:
                assumed += spent
                if assumed < 0:
                    assumed = 0
                b[j + ASSUMED] = assumed
                spent = 0
                if i == PART and b[TURNS] < TURNS_MAX:
                    b[TURNS] += 1
            b[j + TIGHT] = b[j + REST]
        if spent > MOST:
            spent = MOST
        b[j + SPENT] = spent
        spent += assumed
        if b[j + OWED]:
            if spent <= b[j + OWED]:
                b[j + OWED] = 0
        elif spent >= b[j + FULL]:
            b[j + OWED] = b[j + FULL] - b[j + FULL] // _REFILLED
        if b[j + OWED] and empty == 0:
            empty = i + 1
    return empty


class Budgets:
    """Sizes and contents of the three budgets, in ``words``.

    Call ``spend(words, squares)`` every ``TICKS`` ticks with their sum of (current / 8 mA) squared.
    """

    def __init__(self, rest_ma):
        rest = rest_ma >> 3  # until a size is given: nothing is spent, and what was is kept
        self.words = array("i", [rest, rest, MOST, 0, 0, 0, 0] * 3 + [0] * (ALL_WORDS - TURNS))

    def set(self, which, rest_ma, budget_a2s):
        """Size one budget; the heat that is there stays, and cools no faster (not in the tick)."""
        b = self.words
        at = which * WORDS
        rest = rest_ma >> 3
        full = budget_a2s * _UNITS_PER_KA2S // 1000
        assumed = 0
        if b[TURNS] < TURNS_MAX:
            assumed = max(full * UNKNOWN // 1000 - (rest * rest * b[TURNS] >> 9), 0)
        b[at + TIGHT] = min(b[at + TIGHT], rest) if b[at + SPENT] else rest
        b[at + REST] = rest
        b[at + FULL] = full
        if b[
            at + OWED
        ]:  # a larger assumption is no reason to wait longer, and a larger size none to wait less
            more = max(assumed - b[at + ASSUMED], 0)
            b[at + OWED] = min(b[at + OWED], full - full // _REFILLED) + more
        b[at + ASSUMED] = assumed

    def left(self, which):
        """Return the permille left of a budget; 0 only when it is used up."""
        at = which * WORDS
        full = self.words[at + FULL]
        left = full - self.words[at + SPENT] - self.words[at + ASSUMED]
        return max(1000 * left // full, 1) if left > 0 else 0

"""What the guards must not forget over a reset, in seven halfwords: heat of the three budgets, the held time.

Written every 8 ticks to where the board keeps it while the chip has power. No time is known to have passed
until it is read again, so nothing has cooled meanwhile. Each value is rounded up. A check over all tells a
record from what the power left there; without a record the bench has just got its power (see ``budget`` and
``stall`` on what it then assumes).

    0     check
    1, 2  part: heat (17 bits, 1.07 A2s), smallest rest current (14 bits, 8 mA), emptied (1)
    3, 4  leads likewise
    5     bench: heat (15), emptied (1)
    6     held (10 bits, 32 ms), time since power-up (6, 16 s)
"""

from strokefw.compat import const, micropython, ptr16, ptr32
from strokefw.guard import budget, stall

HALFWORDS = const(7)
_HEAT = const(12)  # log2 of a budget's units
_GRAIN = const(4095)
_HEAT_MAX = const(131071)
_REST_MAX = const(8191)
_EMPTIED = const(0x8000)
_BENCH_MAX = const(32767)
_HELD = const(4096)  # of the guard's units, which are never more than fit
_HELD_BITS = const(12)
_UP = const(11)  # log2 of a budget's turns
_UP_MAX = const(63)
_SEED = const(0x5A17)


@micropython.viper
def write(k: ptr16, b: ptr32):
    """Put what the budgets' words have, and behind them the stall guard's, into the record."""
    total = _SEED
    place = 1
    at = budget.WORDS * budget.PART
    while at:
        heat = b[at + budget.SPENT] + _GRAIN >> _HEAT
        if heat > _HEAT_MAX:
            heat = _HEAT_MAX
        more = b[at + budget.TIGHT] << 1 | heat >> 16
        if b[at + budget.OWED]:
            more |= _EMPTIED
        heat &= 0xFFFF
        k[place] = heat
        k[place + 1] = more
        total = (total * 33 + heat) * 33 + more & 0xFFFF
        place += 2
        at -= budget.WORDS
    heat = b[budget.SPENT] + _GRAIN >> _HEAT
    if heat > _BENCH_MAX:
        heat = _BENCH_MAX
    if b[budget.OWED]:
        heat |= _EMPTIED
    k[place] = heat
    held = (b[stall.HELD] + _HELD - 1 >> _HELD_BITS) << 6 | b[budget.TURNS] >> _UP
    k[place + 1] = held
    k[0] = (total * 33 + heat) * 33 + held & 0xFFFF


def read(k, b):
    """Take a record over, if it is one (not in the tick)."""
    total = _SEED
    for i in range(1, HALFWORDS):
        total = total * 33 + k[i] & 0xFFFF
    if k[0] != total:
        return
    for which, low, high in ((budget.PART, 1, 2), (budget.LEADS, 3, 4), (budget.BENCH, 5, 5)):
        at = budget.WORDS * which
        spent = k[low]
        if which == budget.BENCH:
            spent &= _BENCH_MAX
        else:
            spent |= (k[high] & 1) << 16
            b[at + budget.TIGHT] = b[at + budget.REST] = k[high] >> 1 & _REST_MAX
        spent = b[at + budget.SPENT] = min(spent << _HEAT, budget.MOST)
        if k[high] & _EMPTIED:  # how large the budget was is not known: a fifth of what is there
            b[at + budget.OWED] = max(spent - spent // 5, 1)
    b[stall.HELD] = (k[6] >> 6) * _HELD
    up = k[6] & _UP_MAX
    b[budget.TURNS] = up << _UP if up < _UP_MAX else budget.TURNS_MAX

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
_HEAT_MAX = const(131071)
_REST_MAX = const(8191)
_EMPTIED = const(0x8000)
_BENCH_MAX = const(32767)
_HELD = const(4096)  # of the guard's units
_HELD_MAX = const(1023)
_UP = const(11)  # log2 of a budget's turns
_UP_MAX = const(63)
_SEED = const(0x5A17)


@micropython.viper
def _check(k: ptr16) -> int:
    total = _SEED
    for i in range(1, HALFWORDS):
        total = (total * 33 + int(k[i])) & 0xFFFF
    return total


@micropython.viper
def write(k: ptr16, b: ptr32, h: ptr32):
    """Put the budgets' words ``b`` and the stall guard's ``h`` into the record."""
    place = 1
    at = budget.WORDS * budget.PART
    for _ in range(2):
        heat = (b[at + budget.SPENT] >> _HEAT) + 1
        if heat > _HEAT_MAX:
            heat = _HEAT_MAX
        if b[at + budget.SPENT] == 0:
            heat = 0
        rest = b[at + budget.TIGHT]
        if rest > _REST_MAX:
            rest = _REST_MAX
        k[place] = heat & 0xFFFF
        more = rest << 1 | heat >> 16
        if b[at + budget.OWED]:
            more |= _EMPTIED
        k[place + 1] = more
        place += 2
        at -= budget.WORDS
    heat = (b[at + budget.SPENT] >> _HEAT) + 1
    if heat > _BENCH_MAX:
        heat = _BENCH_MAX
    if b[at + budget.SPENT] == 0:
        heat = 0
    if b[at + budget.OWED]:
        heat |= _EMPTIED
    k[place] = heat
    held = (h[stall.HELD] + _HELD - 1) // _HELD
    if held > _HELD_MAX:
        held = _HELD_MAX
    k[place + 1] = held << 6 | b[budget.TURNS] >> _UP
    k[0] = int(_check(k))


def read(k, b, h):
    """Take a record over; return 0 when there is none (not in the tick)."""
    if k[0] != _check(k):
        return 0
    place = 1
    for which in (budget.PART, budget.LEADS):
        at = budget.WORDS * which
        _take(b, at, (k[place + 1] & 1) << 16 | k[place], k[place + 1] & _EMPTIED)
        b[at + budget.TIGHT] = b[at + budget.REST] = k[place + 1] >> 1 & _REST_MAX
        place += 2
    _take(b, 0, k[place] & _BENCH_MAX, k[place] & _EMPTIED)
    h[stall.HELD] = (k[place + 1] >> 6) * _HELD
    up = k[place + 1] & _UP_MAX
    b[budget.TURNS] = up << _UP if up < _UP_MAX else budget.TURNS_MAX
    return 1


def _take(b, at, heat, emptied):
    spent = min(heat << _HEAT, budget.MOST)
    b[at + budget.SPENT] = spent
    if emptied:  # how large the budget was is not known: a fifth of what is there
        b[at + budget.OWED] = max(spent - spent // 5, 1)

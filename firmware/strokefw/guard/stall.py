"""Guard against a part that is held: time above the stall current without net movement, remembered.

**Time.** Every 8 ticks their mean square of current is compared with that of the stall current. Above it,
the held time grows by as much as passed. Below, it shrinks: by a quarter of that at no current, by less the
nearer the current is to the stall current (in force or since, the smaller). No pause, message or session
makes it less. So a plain hold ends after the profile's time, and one with pauses when it was held for that
time and did not rest four times as long. At the duty that goes on for ever, one in five, currents up to 2.2
times the stall current heat no more than the stall current held steadily.

**Movement** is net movement of the mean of 16 readings in 64 ms, each of which counts 0.5 V at most. By
800 mV (at a feed of 5 V; a fifth of a usual track) from where the part was held, at any pace: it is not held,
and all is taken back. Where it was held is where it was when last nothing was held against it. By 160 mV
within 2 s: what was counted in that time is taken back, and nothing older.
So a slow sweep, from 80 mV/s on, does not count as held, and a part that is only shaken does. White noise of
60 mV moves such a mean by 15 mV; a swing counts from 80 mV either way, whatever its frequency. The floors are
fixed: noise that is measured while a part moves cannot be told from the movement.
"""

from strokefw.compat import const, micropython, ptr32
from strokefw.guard import budget, current

# behind the budgets' words
LIMIT = const(22)  # stall current / 8 mA
TIGHT = const(23)  # the smallest one since something is held against the part
FULL = const(24)  # allowed time, 1/128 ms
HELD = const(25)  # 1/128 ms
_DOUBT = const(26)  # so much of it would a movement take back
_TURN = const(27)
_SINCE = const(28)  # windows since the place was taken
HOME_A = const(29)  # where the part was when last nothing was held against it, mV; then of track b
SETTLED = const(31)  # windows since the start, SETTLE at most: until then nobody knows where the part was

UNITS = const(128)  # per ms
_GROWTH = const(1024)  # of 8 ticks
_TURNS = const(7)  # a window is 8 turns of 8 ticks: current.WINDOW
_WINDOWS = const(32)
SETTLE = const(12)
HELD_MAX = const(4190000)  # 32.7 s
_COOLING = const(8)  # log2 of the units that 8 ticks without current take away
_MOVED = const(2560)  # 16 readings of 160 mV
_FAR = const(800)  # mV
_MIDDLE = const(8000)  # 16 readings of current.FAR_MV
_LARGE = const(1 << 20)


@micropython.viper
def judge(h: ptr32, s: ptr32) -> int:
    # Takes 8 ticks of the current's words; returns 1 when the part was held for too long and still is.
    square = s[current.EIGHT] >> 3
    limit = h[LIMIT] * h[LIMIT]
    held = h[HELD]
    doubt = h[_DOUBT]
    grows = 0
    if square > limit:
        grows = 1
        doubt += _GROWTH
        held += _GROWTH
        if held > HELD_MAX:
            held = HELD_MAX
    else:
        limit = h[TIGHT] * h[TIGHT]
        if square < limit:
            if limit < _LARGE:
                held -= (limit - square << _COOLING) // limit
            else:
                held -= (limit - square) // (limit >> _COOLING)
    turn = h[_TURN]
    if turn < _TURNS:
        h[_TURN] = turn + 1
    else:
        h[_TURN] = 0
        since = h[_SINCE] + 1
        settling = 0
        if h[SETTLED] < SETTLE:
            h[SETTLED] += 1
            settling = 1
            since = _WINDOWS
        far = settling
        for track in range(2):
            away = s[current.SUM_A + track] - _MIDDLE
            if (away >= _MOVED or away <= 0 - _MOVED) and settling == 0:
                held -= doubt
                doubt = 0
                since = _WINDOWS
            now = s[current.WAS_A + track] + (away >> 4)
            s[current.SUM_A + track] = now
            away = now - h[HOME_A + track]
            if away >= _FAR or away <= 0 - _FAR:
                far = 1
        if since >= _WINDOWS and far > settling:
            held = 0
        if held <= 0:
            far = 1
        for track in range(2):
            if since >= _WINDOWS:
                s[current.WAS_A + track] = s[current.SUM_A + track]
                if far:
                    h[HOME_A + track] = s[current.SUM_A + track]
            s[current.SUM_A + track] = 0
        if since >= _WINDOWS:
            since = 0
            doubt = 0
        h[_SINCE] = since
    if held <= 0:
        held = 0
        h[TIGHT] = h[LIMIT]
    if doubt > held:
        doubt = held
    h[_DOUBT] = doubt
    h[HELD] = held
    if grows and held >= h[FULL]:
        return 1
    return 0


def limit(h, stall_ma, stall_ms):
    """Put limits in force; what is held stays (not in the tick).

    What the bench cannot know it takes for held: half the time, less what has cooled since the power came.
    """
    eighth = max(stall_ma >> 3, 1)
    h[TIGHT] = min(h[TIGHT], eighth) if h[HELD] else eighth
    h[LIMIT] = eighth
    h[FULL] = stall_ms * UNITS
    if h[budget.TURNS] < budget.TURNS_MAX:
        h[HELD] = max(h[HELD], h[FULL] * budget.UNKNOWN // 1000 - (h[budget.TURNS] << _COOLING))

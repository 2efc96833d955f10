"""The self-test's steps: what each does in a tick, and what it has judged.

A step sums readings, or names one value with its bounds, and returns what the board is to do. On the chip all
of this is one kernel (the host's image/merge.py).
"""

from strokefw import channels, faults
from strokefw.compat import micropython, ptr32
from strokefw.guard import limits as guard_limits
from strokefw.sensing import sense as at
from strokefw.tick import check

_go = check.go
_ask = check.ask
_judge = check.judge


@micropython.viper
def _edge(w: ptr32, tripped: int) -> int:
    # At no current the comparators trip as soon as the level is below zero, were they exact. One of the two
    # does first, and there alone is an edge: the other is behind it, see ``_ways``.
    ticks = w[check.TICKS]
    span = check.EDGE_SPAN_MA // w[check.FINER]
    if ticks == 1:
        w[check.TRIPS_AT] = at.BIAS - span
        w[check.QUIET_AT] = at.BIAS + span
        w[check.LEVEL] = at.BIAS + span
        w[check.LOOK_AT] = 1 + check.EDGE_FIRST_TICKS
        return check.SET_LEVEL
    if ticks != w[check.LOOK_AT]:
        return check.NOTHING
    w[check.LOOK_AT] = ticks + check.EDGE_TICKS
    if w[check.TRIPS_AT] == w[check.QUIET_AT]:
        return check.NOTHING  # none between the ends: it is where they trip too early, or too late
    if tripped:
        w[check.TRIPS_AT] = w[check.LEVEL]
    else:
        w[check.QUIET_AT] = w[check.LEVEL]
    w[check.LEVEL] = w[check.TRIPS_AT] + ((w[check.QUIET_AT] - w[check.TRIPS_AT]) >> 1)
    if ticks == 1 + check.EDGE_FIRST_TICKS and tripped == 0:
        w[check.LEVEL] = at.BIAS - span
    return check.SET_LEVEL


@micropython.viper
def _rest(w: ptr32, v: ptr32, estop: int, tripped: int) -> int:
    ticks = w[check.TICKS]
    if ticks <= check.MEAN_TICKS:
        w[check.SUM_A] += v[at.B_FINE] - at.BIAS
        w[check.SUM_B] += v[at.B_COARSE] - at.BIAS
        w[check.SUM_C] += v[channels.FEED]
        w[check.SUM_D] += v[channels.VIN]
    turn = ticks - check.EDGES_TICKS
    if turn <= 0:
        do = int(_edge(w, tripped))
        return do
    if turn == 9:
        _go(w, check.CHARGE)
        return check.PRECHARGE_RAIL
    do = check.NOTHING
    item = check.ESTOP
    value = estop
    low = 0
    high = 0
    code = faults.ESTOP
    if turn == 2 + (w[check.FEW] << 3):  # with few signals that comes in ``_float``
        item = check.SUPPLY
        value = (w[check.SUM_D] - at.BIAS) >> 5
        low = w[check.MIN_MV]
        high = w[check.MAX_MV]
        code = faults.SUPPLY_LOW
        if value > high:
            code = faults.SUPPLY_HIGH
        elif value < 6000:
            code = faults.NO_SUPPLY
    elif turn == 3 or turn == 4:
        item = check.ZERO_FINE - 3 + turn
        value = (w[check.SUM_A - 3 + turn] - at.BIAS) >> 5
        high = (check.ZERO_FINE_MA if turn == 3 else check.ZERO_COARSE_MA) // w[check.FINER]
        low = 0 - high
        code = faults.CURRENT_ZERO
    elif turn == 5:
        item = check.CALIBRATION
        value = w[check.CALIBRATED]
        low = 1
        high = 1
        code = faults.CALIBRATION
    elif turn == 6:
        item = check.REFERENCE
        value = (w[check.SUM_C] - at.BIAS) >> 5
        low = 4750
        high = 5250
        code = faults.REFERENCE
    elif turn == 7:
        item = check.HEATSINK
        value = v[at.HEATSINK] - at.BIAS
        low = check.HEATSINK_MIN_DC
        high = guard_limits.HEATSINK_MAX_DC
        code = faults.HEATSINK_NTC_SHORT
        if v[at.HEATSINK_NTC] == at.NTC_OPEN:
            code = faults.HEATSINK_NTC_OPEN
        elif v[at.HEATSINK_NTC] == at.NTC_OK:
            code = faults.HEATSINK_HOT
    elif turn == 8:
        item = check.EDGE
        value = w[check.LEVEL] - at.BIAS
        high = check.EDGE_MA // w[check.FINER]
        low = 0 - high
        code = faults.FAST_LIMIT
        w[check.EDGE_AT] = w[check.LEVEL]
        w[check.LEVEL] += w[check.LIMIT]
        do = check.SET_LEVEL
    _ask(w, item, value, low, high, code)
    return do


@micropython.viper
def _charge(w: ptr32, v: ptr32):
    vin = v[channels.VIN]
    if w[check.FEW]:  # nine tenths of it are a little above the least that ``_float`` wants
        vin = w[check.MIN_MV] + (w[check.MIN_MV] >> 3)
    share = 0
    if vin > 1000:
        share = v[channels.BUS] * 1000 // vin
    code = faults.CHECK_TIMEOUT
    # after a regeneration the bridge's capacitors may stand above the supply, and only their bleeder empties
    # them
    longest = check.DISCHARGE_TICKS
    if share < 900:
        code = faults.PRECHARGE
        longest = check.CHARGE_TICKS
    if (share >= 900 and (share <= 1100 or w[check.FEW])) or w[check.TICKS] > longest:
        _ask(w, check.PRECHARGE, share, 900, 1100, code)
        _go(w, check.FLOAT)


@micropython.viper
def _float(w: ptr32, v: ptr32, r: ptr32):
    ticks = w[check.TICKS]
    turn = ticks - 2 * check.SETTLE_TICKS
    if turn <= 0:
        if ticks > check.SETTLE_TICKS:
            w[check.SUM_A] += v[channels.LEG_A]
            w[check.SUM_B] += v[channels.LEG_B]
            w[check.SUM_C] += v[channels.BUS]
        return
    if w[check.FEW]:
        turn = 3
    item = check.LEG_A - 1 + turn  # leg a, leg b, then how far they are apart
    low = check.FLOAT_LOW
    high = check.FLOAT_HIGH
    value = 0
    if turn <= 2:
        value = (w[check.SUM_A - 1 + turn] - at.BIAS) * 1000 // (w[check.SUM_C] - at.BIAS + 1)
        code = faults.LEG_LOW
        if value > high:
            code = faults.LEG_HIGH
    else:
        value = r[check.RESULT_WORDS * check.LEG_A] - r[check.RESULT_WORDS * check.LEG_B]
        if value < 0:
            value = 0 - value
        low = 0
        high = check.APART
        code = faults.LEG_DIFFER
        if w[check.FLAGS] & guard_limits.PART_EXPECTED == 0:
            item = 0
        if w[check.FEW]:
            value = (w[check.SUM_C] - at.BIAS) // check.SETTLE_TICKS
            w[check.OTHER] = value
            item = check.SUPPLY
            low = w[check.MIN_MV]
            high = w[check.MAX_MV]
            code = faults.PRECHARGE
        w[check.LEG] = 0
        _go(w, check.LOOP_STEP if w[check.FEW] else check.PULSES)
    _ask(w, item, value, low, high, code)


@micropython.viper
def _pull(w: ptr32, v: ptr32):
    # how far the pulsed leg is pulled, and where the other one stands then, in permille of the bus
    leg = w[check.LEG] >> 1
    bus = v[channels.BUS] + 1
    own = v[channels.LEG_A + leg] * 1000 // bus
    if w[check.LEG] & 1:
        if own > w[check.PULLED]:
            w[check.PULLED] = own
            w[check.OTHER] = v[channels.LEG_B - leg] * 1000 // bus
    elif own < w[check.PULLED]:
        w[check.PULLED] = own


@micropython.viper
def _pulses(w: ptr32, v: ptr32) -> int:
    # w[check.LEG] counts the four MOSFETs: a low, a high, b low, b high
    leg = w[check.LEG]
    high_side = leg & 1
    turn = w[check.TICKS] - check.PULSE_TICKS
    if turn == 1 - check.PULSE_TICKS:
        w[check.PULLED] = 0 if high_side else check.BIG
        w[check.OTHER] = 0
        return check.PULSE_ONE
    if turn <= 1:
        _pull(w, v)
        return check.NOTHING
    item = check.PULSE + leg
    value = w[check.PULLED]
    low = check.PULLED_HIGH if high_side else check.NONE
    high = check.BIG if high_side else check.PULLED_LOW
    code = faults.LEG_PULSE
    if turn > 2:
        item = 0
        if high_side and w[check.FLAGS] & guard_limits.PART_EXPECTED:
            item = check.JOINED
        value = w[check.OTHER]
        low = check.PULLED_HIGH - 50
        high = check.BIG
        code = faults.OPEN_LOAD
        w[check.LEG] = leg + 1
        w[check.TICKS] = 0
        if leg == 3:
            _go(w, check.LOOP_STEP if w[check.FLAGS] & guard_limits.PART_EXPECTED else check.CLOSE)
    _ask(w, item, value, low, high, code)
    return check.NOTHING


@micropython.viper
def _loop(w: ptr32, v: ptr32) -> int:
    ticks = w[check.TICKS]
    if ticks == 1:
        return check.DRIVE_LOOP
    current = v[at.B_MERGED]
    if w[check.LEG] == check.BACKWARD:
        current = at.BIAS - (current - at.BIAS)
    if current > w[check.SUM_A]:
        w[check.SUM_A] = current
    if ticks <= check.LOOP_TICKS:
        return check.NOTHING
    do = check.DRIVE_OFF
    item = 0
    low = 0
    code = faults.PRECHARGE
    if ticks == check.LOOP_TICKS + 1:
        # a shorted switch meets its partner, in one direction or the other, and empties the capacitors
        if w[check.FEW]:
            item = check.HELD
        value = v[channels.BUS] * 1000 // (w[check.OTHER] + 1)
        low = check.HELD_LOW
        high = check.BIG
    else:
        do = check.NOTHING
        item = check.LOOP
        value = w[check.SUM_A] - at.BIAS
        high = v[channels.BUS] * check.LOOP_DRIVE // (10 * check.SHORT_MOHM)
        code = faults.SHORTED_LOAD
        then = check.WAYS if w[check.FLAGS] & check.TO_ARM else check.CLOSE
        if w[check.LEG] == 0:
            w[check.LEG] = check.BACKWARD
            then = check.LOOP_STEP
        _go(w, then)
    _ask(w, item, value, low, high, code)
    return do


@micropython.viper
def _ways(w: ptr32, v: ptr32) -> int:
    # A little current one way, then the other, in pulses of 1 ms that grow until the fast limit cuts, low as
    # it is now: so each of its two comparators is seen to act. A part that takes no such current shows none.
    turn = w[check.TICKS] - check.WAY_TICKS
    if turn == 1 - check.WAY_TICKS:
        w[check.LEVEL] = w[check.EDGE_AT] + check.WAY_LEVEL_MA // w[check.FINER]
        w[check.LEG] = 0
        w[check.PUSH] = check.LOOP_DRIVE
        return check.SET_LEVEL
    if turn <= 1:
        w[check.CUT] = 0
        w[check.SEEN] = 0
        return check.NOTHING if turn <= 0 else check.PUSH_PART
    seen = v[at.B_MERGED] - at.BIAS
    if w[check.LEG]:
        seen = 0 - seen
    if seen > w[check.SEEN]:
        w[check.SEEN] = seen
    if turn < 5:
        return check.DRIVE_OFF if turn == 2 else check.NOTHING
    seen = w[check.SEEN]
    most = check.WAY_MA // w[check.FINER]
    top = check.WAY_TOP_MA // w[check.FINER]
    if top > w[check.LIMIT]:
        top = w[check.LIMIT]
    push = w[check.PUSH]
    more = push << 1
    if seen * 8 < top:
        more = push << 2
    elif seen * 2 > top:
        more = push * top // seen
    if more > check.PUSH_MAX:
        more = check.PUSH_MAX
    w[check.PUSH] = more
    w[check.TICKS] = check.WAY_TICKS
    item = 0
    if w[check.CUT] or seen > most:
        item = check.WAY + w[check.LEG]
    elif more > push + (push >> 4):
        return check.NOTHING
    w[check.PUSH] = check.LOOP_DRIVE
    w[check.LEG] += 1
    _ask(w, item, seen, 0, most, faults.FAST_LIMIT)
    if w[check.LEG] == 2:
        _go(w, check.CLOSE)
    return check.NOTHING


@micropython.viper
def _close(w: ptr32, v: ptr32) -> int:
    ticks = w[check.TICKS]
    if ticks > check.CLOSE_TICKS:
        _ask(w, check.MAIN, v[channels.VIN] - v[channels.BUS], check.MAIN_LOW_MV, 500, faults.SUPPLY_CUT)
        return check.END
    if ticks == 2:
        w[check.LEVEL] = w[check.EDGE_AT] + w[check.LIMIT]
        return check.SET_LEVEL
    return check.CLOSE_RAIL if ticks == 1 else check.NOTHING


@micropython.viper
def go_on(w: ptr32, v: ptr32, r: ptr32, estop: int, tripped: int) -> int:
    """Do a tick of the test on the readings ``v``, results into ``r``; return what the board is to do."""
    w[check.TICKS] += 1
    step = w[check.STEP]
    do = check.NOTHING
    if step == check.BEGIN:
        for i in range(check.IDS):
            r[check.RESULT_WORDS * i + check.STATE] = 0
        w[check.ITEM] = 0
        _go(w, check.REST)
        do = check.OPEN
    elif step == check.REST:
        do = int(_rest(w, v, estop, tripped))
    elif step == check.CHARGE:
        _charge(w, v)
    elif step == check.FLOAT:
        _float(w, v, r)
    elif step == check.PULSES:
        do = int(_pulses(w, v))
    elif step == check.LOOP_STEP:
        do = int(_loop(w, v))
    elif step == check.WAYS:
        do = int(_ways(w, v))
    else:
        do = int(_close(w, v))
    _judge(w, r)
    code = w[check.CODE]
    if code and code != faults.CALIBRATION:
        do = check.END
    if do == check.END:
        w[check.STEP] = check.DONE
    return do

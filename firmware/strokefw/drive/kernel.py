"""The ramp's kernels and the array they work on: one tick of a segment, within the slew limit.

Values that may be negative (drives) stand with ``BIAS`` added, see compat.py. ``look`` asks whether the
segment is over, ``advance`` goes on with it.
"""

from strokefw.compat import const, micropython, ptr32
from strokefw.sensing import sense

MODE = const(0)
KIND = const(1)
LEFT = const(2)  # ticks of the segment
TOTAL = const(3)
WHOLE = const(4)  # biased: change of drive per tick, and the rest of it in TOTAL ticks
REST = const(5)
SPARE = const(6)
WANT = const(7)  # biased: what the segment wants
DRIVE = const(8)  # biased: what is in force
GATE = const(9)
LOW = const(10)  # biased
HIGH = const(11)  # biased
SLEW = const(12)
WATCH = const(13)  # 0 none, else odd: above, even: below
WATCH_VALUE = const(14)
WATCH_AFTER = const(15)
WATCH_HOLD = const(16)
WATCH_SEEN = const(17)
PHASE = const(18)  # ticks left of a pulse's part
PULSES = const(19)  # half periods left: even = the on part is next
ON = const(20)  # biased
OFF = const(21)  # biased
ON_MS = const(22)
OFF_MS = const(23)
INDEX = const(24)  # of the segment, -1 before the first
LAST_INDEX = const(25)  # of the one whose watch fired
WATCH_ACTION = const(26)
CAPTURE = const(27)  # state of a burst
CAPTURE_AT = const(28)  # index of the segment that asked for it
PRE_LEFT = const(29)  # ticks until its pre-trigger part is full, 0 without one
TRIGGER = const(30)  # the board's capture has to be triggered in this tick
WORDS = const(31)
BIAS = sense.BIAS

# modes
IDLE = const(0)
PROCEDURE = const(1)
JOG = const(2)
DOWN = const(3)
# kinds of segment that the kernels tell apart; the others go from WANT by WHOLE and REST
RAMP = const(1)
PULSE = const(4)
PAUSE = const(5)
BURST = const(6)
CAPTURE_ASKED = const(1)  # the service has to start it
CAPTURE_RUNNING = const(2)
CAPTURE_DONE = const(3)  # captured or failed
# places in a segment of the table, whose first word is its kind
SEG_TARGET = const(1)  # biased, as is the fourth parameter of a pulse
SEG_DURATION = const(2)
SEG_P1 = const(3)
SEG_P2 = const(4)
SEG_P3 = const(5)
SEG_P4 = const(6)
SEG_WATCH = const(7)
SEG_ACTION = const(8)
SEG_VALUE = const(9)
SEG_AFTER = const(10)
SEG_HOLD = const(11)
SEG_LOADED = const(12)  # 1 once it has come
SEGMENT_WORDS = const(13)
# what ``look`` returns
GOES_ON = const(0)
OVER = const(1)
WATCHED = const(2)  # the watch fired


@micropython.viper
def aim(w: ptr32, mode: int, want: int):
    # From now on go for ``want`` in ``mode``, without a segment.
    w[MODE] = mode
    w[WANT] = want + BIAS
    w[KIND] = 0
    w[WATCH] = 0
    w[LEFT] = 0


@micropython.viper
def off(w: ptr32):
    w[MODE] = IDLE
    w[WANT] = BIAS
    w[KIND] = 0
    w[WATCH] = 0
    w[LEFT] = 0
    w[DRIVE] = BIAS
    w[GATE] = 0


@micropython.viper
def begin(w: ptr32, t: ptr32, index: int):
    # Take segment ``index`` of the table over. Its target and a pulse's other drive stand biased there.
    base = index * SEGMENT_WORDS
    w[INDEX] = index
    kind = t[base]
    duration = t[base + SEG_DURATION]
    drive = w[DRIVE]
    w[KIND] = kind
    w[LEFT] = duration
    w[TOTAL] = duration
    w[WHOLE] = BIAS
    w[REST] = 0
    w[SPARE] = 0
    w[WANT] = t[base + SEG_TARGET]
    if kind == RAMP:
        change = t[base + SEG_TARGET] - drive
        whole = change // duration
        w[WANT] = drive
        w[WHOLE] = whole + BIAS
        w[REST] = change - whole * duration
    elif kind == PULSE:
        w[LEFT] = 1  # until the last pulse is over
        w[PHASE] = 0
        w[PULSES] = t[base + SEG_P3] << 1
        w[ON] = t[base + SEG_TARGET]
        w[OFF] = t[base + SEG_P4]
        w[ON_MS] = t[base + SEG_P1]
        w[OFF_MS] = t[base + SEG_P2]
    elif kind == BURST:
        w[WANT] = drive
        w[CAPTURE_AT] = index
        w[PRE_LEFT] = 0
        if t[base + SEG_P4]:
            w[PRE_LEFT] = t[base + SEG_P4] * 1000 // t[base + SEG_P2] + 1
        w[CAPTURE] = CAPTURE_ASKED
    w[WATCH_ACTION] = t[base + SEG_ACTION]
    w[WATCH] = t[base + SEG_WATCH]
    w[WATCH_VALUE] = t[base + SEG_VALUE]
    w[WATCH_AFTER] = t[base + SEG_AFTER]
    w[WATCH_HOLD] = t[base + SEG_HOLD]
    w[WATCH_SEEN] = 0


@micropython.viper
def look(w: ptr32, v: ptr32) -> int:
    if w[MODE] != PROCEDURE:
        return GOES_ON
    watch = w[WATCH]
    if watch:
        if w[WATCH_AFTER]:
            w[WATCH_AFTER] -= 1
        else:
            if watch < 3:
                value = v[sense.B_MERGED] - BIAS
                if value < 0:
                    value = 0 - value
            elif watch < 5:
                value = v[sense.RATIO_A]
            else:
                value = v[sense.RATIO_B]
            if watch & 1:
                over = value - w[WATCH_VALUE]
            else:
                over = w[WATCH_VALUE] - value
            if over > 0:
                w[WATCH_SEEN] += 1
                if w[WATCH_SEEN] > w[WATCH_HOLD]:
                    return WATCHED
            else:
                w[WATCH_SEEN] = 0
    if w[KIND] == BURST:
        # without pre-trigger the segment lasts until its capture is done, else until the pre-trigger part is
        # full, and the next segment's first tick is the trigger
        capture = w[CAPTURE]
        if capture == CAPTURE_DONE:
            return OVER
        if capture == CAPTURE_RUNNING and w[PRE_LEFT]:
            w[PRE_LEFT] -= 1
            if w[PRE_LEFT] == 0:
                w[TRIGGER] = 1
                return OVER
        return GOES_ON
    if w[LEFT] == 0:
        return OVER
    return GOES_ON


@micropython.viper
def advance(w: ptr32, cap: int, slew_down: int):
    if w[MODE] == PROCEDURE:
        kind = w[KIND]
        if kind < PULSE:
            w[LEFT] -= 1
            want = w[WANT] - BIAS + w[WHOLE]
            spare = w[SPARE] + w[REST]
            if spare >= w[TOTAL]:
                spare -= w[TOTAL]
                want += 1
            w[SPARE] = spare
            w[WANT] = want
        elif kind == PULSE:
            phase = w[PHASE]
            if phase == 0:
                if w[PULSES] & 1:
                    w[WANT] = w[OFF]
                    phase = w[OFF_MS]
                else:
                    w[WANT] = w[ON]
                    phase = w[ON_MS]
                w[PULSES] -= 1
            phase -= 1
            w[PHASE] = phase
            if phase == 0 and w[PULSES] == 0:
                w[LEFT] = 0
        elif kind == PAUSE:
            w[LEFT] -= 1
            w[DRIVE] = BIAS
            w[WANT] = BIAS
            w[GATE] = 0
            return
    w[GATE] = 1
    aim = w[WANT]
    if aim > w[HIGH]:
        aim = w[HIGH]
    if aim < w[LOW]:
        aim = w[LOW]
    aim -= BIAS
    if aim > cap:
        aim = cap
    elif aim < 0 - cap:
        aim = 0 - cap
    drive = w[DRIVE] - BIAS
    if aim > drive:
        step = slew_down
        if drive >= 0:
            step = w[SLEW]
        if aim > drive + step:
            aim = drive + step
        if drive < 0 and aim > 0:
            aim = 0
    elif aim < drive:
        step = slew_down
        if drive <= 0:
            step = w[SLEW]
        if aim < drive - step:
            aim = drive - step
        if drive > 0 and aim < 0:
            aim = 0
    w[DRIVE] = aim + BIAS

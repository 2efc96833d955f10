"""Guards of the current: peak, fold-back of the mean, trips, stall, ranges, current while off.

Two kernels per tick on one array of integers (all >= 0, see compat.py): ``bound`` limits the next drive,
``watch`` judges the tick. They are long because on the chip a call costs more than what it does.
"""

from strokefw import channels, faults
from strokefw.compat import const, micropython, ptr32
from strokefw.sensing import sense

# limits, mA and ticks
LIMIT = const(0)  # mean current now (derated)
SLEW = const(1)  # 1/10000 per tick
STALL_MA = const(2)
STALL_TICKS = const(3)
PEAK_MA = const(4)  # peak that means the fast limit does not cut
MEAN_TICKS = const(5)  # longest time above the limit and a quarter
SUPPLY_MAX_MV = const(6)
# results
CAP = const(7)  # |drive| may be so much, 1/10000
FOLDED = const(8)  # 1 while fold-back holds the drive back
SLEW_DOWN = const(9)
BRAKING = const(10)  # 1 while the ramp down is slowed
AMPS = const(11)  # |current|
SIZE = const(12)  # |drive|
BACK = const(13)  # current against the drive, 0 if none
SQUARES = const(14)  # sum of (AMPS / 8 mA) squared, the budgets take it
# memory
FINE_CAP = const(15)  # CAP in 1/64
PEAK_SEEN = const(16)
MEAN_SEEN = const(17)
BUCKET = const(18)  # trips, leaking
STALLED = const(19)
WAS_A = const(20)
WAS_B = const(21)
OFF_SEEN = const(22)
DIFFER_SEEN = const(23)
# by board kind, set once, mA
OFF = const(24)
DIFFER = const(25)
DIFFER_PEAK = const(26)
HARD_PEAK = const(27)
WORDS = const(28)

FULL = const(10000)
FULL_FINE = const(640000)
PEAK_TICKS = const(3)
# on the reference bench; a board with finer ranges divides them
HARD_PEAK_MA = const(75000)  # at once: nothing on a healthy bench reaches it
TRIPS_LEAK = const(2)  # cycles per tick that may be cut for ever (a tenth of them)
TRIPS_FULL = const(600)  # some 30 ms of nothing but cut cycles at 20 kHz
MOVED_MV = const(40)
BRAKE_MA = const(150)
ROOM_MV = const(800)  # the ramp down is slowed from so far below the supply's limit on
OFF_MA = const(400)
OFF_TICKS = const(200)
DIFFER_MA = const(1200)
DIFFER_PEAK_MA = const(5500)  # a ripple peak beyond this clips in the fine range: more is allowed with it
DIFFER_TICKS = const(100)
GAIN_DOWN = const(16)  # of 256: a sixteenth of the relative excess per tick
GAIN_UP = const(8)
AMPS_MAX = const(90000)


# places in CODES
_CURRENT_PEAK = const(1)
_CURRENT_MEAN = const(2)
_TRIPS = const(3)
_STALL = const(4)
_CURRENT_OFF = const(5)
_RANGES_DIFFER = const(6)
CODES = bytes(
    (
        0,
        faults.CURRENT_PEAK,
        faults.CURRENT_MEAN,
        faults.TRIPS,
        faults.STALL,
        faults.CURRENT_OFF,
        faults.RANGES_DIFFER,
    )
)


def scale(words, finer):
    """Set what depends on the current ranges, which are ``finer`` times those of the reference bench."""
    for place, milliamps in (
        (OFF, OFF_MA), (DIFFER, DIFFER_MA), (DIFFER_PEAK, DIFFER_PEAK_MA), (HARD_PEAK, HARD_PEAK_MA),
    ):  # fmt: skip
        words[place] = milliamps // finer


@micropython.viper
def fresh(s: ptr32):
    # Forget what counts towards a fault.
    for i in range(PEAK_SEEN, DIFFER_SEEN + 1):
        s[i] = 0
    s[FINE_CAP] = FULL_FINE
    s[CAP] = FULL


@micropython.viper
def bound(s: ptr32, v: ptr32, drive: int, bus: int):
    # What the next tick's drive may be.
    signed = v[sense.B_MERGED] - sense.BIAS
    size = drive
    forward = signed
    if drive < 0:
        size = 0 - drive
        forward = 0 - signed
    elif drive == 0:
        forward = 0
    amps = signed
    if amps < 0:
        amps = 0 - amps
    back = 0
    if forward < 0:
        back = 0 - forward
        forward = 0
    s[AMPS] = amps
    s[SIZE] = size
    s[BACK] = back
    if amps > AMPS_MAX:
        amps = AMPS_MAX
    eighth = amps >> 3
    s[SQUARES] += eighth * eighth

    # Fold-back: an integral law on the relative error, so that its loop gain does not depend on supply or
    # winding. Its memory is kept within one slew step of the drive in force: it cannot wind up while slew
    # delays the drive.
    limit = s[LIMIT]
    slew = s[SLEW]
    fine = s[FINE_CAP]
    top = (size + slew) << 6
    bottom = (size - slew) << 6
    if bottom < 64:
        bottom = 64
    if fine > top:
        fine = top
    if fine < bottom:
        fine = bottom
    error = ((limit - forward) << 10) // limit
    if error < -3072:
        error = -3072
    pull = (fine >> 4) * error >> 6
    if error < 0:
        fine += pull * GAIN_DOWN >> 8
        if fine < bottom:
            fine = bottom
    else:
        # the slew term leaves a ramp alone while the current is low, and fades out towards the limit
        fine += (pull * GAIN_UP >> 8) + (slew * (error * error >> 10) >> 3) + 1
    if fine > FULL_FINE:
        fine = FULL_FINE
    s[FINE_CAP] = fine
    if fine >= top or fine == FULL_FINE:
        s[FOLDED] = 0
        s[CAP] = FULL
    else:
        s[FOLDED] = 1
        s[CAP] = fine >> 6

    # Regeneration: less drive brakes harder, so slow the way down by the current and by the room left to
    # the bus.
    down = slew
    if back > BRAKE_MA:
        if back > limit:
            down = slew * (2 * limit - back) // limit
        room = s[SUPPLY_MAX_MV] - bus
        if room < ROOM_MV:
            by_bus = 0
            if room > 0:
                by_bus = slew * room // ROOM_MV
            if by_bus < down:
                down = by_bus
        least = slew >> 4
        if least < 1:
            least = 1
        if down < least:
            down = least
    s[SLEW_DOWN] = down
    s[BRAKING] = 1 if down < slew else 0


@micropython.viper
def watch(s: ptr32, v: ptr32, gate: int, trips: int) -> int:
    # Returns a place in CODES, 0 when nothing is wrong.
    wrong = 0
    coarse = v[sense.B_COARSE] - sense.BIAS
    fine = v[sense.B_FINE] - sense.BIAS
    peak = v[sense.B_MAX] - sense.BIAS
    low = sense.BIAS - v[sense.B_MIN]
    if low > peak:
        peak = low
    amps = s[AMPS]

    # the ranges against each other, and current that nobody asked for
    differ = coarse - fine
    if differ < 0:
        differ = 0 - differ
    allowed = s[DIFFER]
    if peak > s[DIFFER_PEAK]:
        allowed += peak - s[DIFFER_PEAK]
    if differ > allowed:
        s[DIFFER_SEEN] += 1
        if s[DIFFER_SEEN] > DIFFER_TICKS:
            s[DIFFER_SEEN] = DIFFER_TICKS
            wrong = _RANGES_DIFFER
    else:
        s[DIFFER_SEEN] = 0
    if gate == 0:
        s[STALLED] = 0
        if amps > s[OFF] and differ < s[OFF] + (amps >> 2):
            s[OFF_SEEN] += 1
            if s[OFF_SEEN] > OFF_TICKS:
                s[OFF_SEEN] = OFF_TICKS
                wrong = _CURRENT_OFF
        else:
            s[OFF_SEEN] = 0
    else:
        s[OFF_SEEN] = 0
        # stall: much current, and neither track of the sensor moves
        a = v[sense.RATIO_A]
        b = v[sense.RATIO_B]
        was_a = s[WAS_A]
        was_b = s[WAS_B]
        if a > was_a + MOVED_MV or was_a > a + MOVED_MV or b > was_b + MOVED_MV or was_b > b + MOVED_MV:
            s[WAS_A] = a
            s[WAS_B] = b
            s[STALLED] = 0
        elif amps > s[STALL_MA]:
            s[STALLED] += 1
            if s[STALLED] > s[STALL_TICKS]:
                s[STALLED] = s[STALL_TICKS]
                wrong = _STALL
        elif s[STALLED] > 0:
            s[STALLED] -= 1

    # the fast limit: too much to do, or not doing it; the mean that fold-back should have held
    bucket = s[BUCKET] + (trips & (channels.LATCH_FELL - 1)) - TRIPS_LEAK
    if bucket < 0:
        bucket = 0
    if trips & channels.LATCH_FELL:
        bucket = TRIPS_FULL
    if bucket >= TRIPS_FULL:
        bucket = TRIPS_FULL
        wrong = _TRIPS
    s[BUCKET] = bucket
    limit = s[LIMIT]
    if amps > limit + (limit >> 2) + 300:
        s[MEAN_SEEN] += 1
        if s[MEAN_SEEN] > s[MEAN_TICKS]:
            s[MEAN_SEEN] = s[MEAN_TICKS]
            wrong = _CURRENT_MEAN
    elif s[MEAN_SEEN] > 0:
        s[MEAN_SEEN] -= 1
    if peak > s[PEAK_MA]:
        s[PEAK_SEEN] += 1
        if s[PEAK_SEEN] >= PEAK_TICKS or peak > s[HARD_PEAK]:
            s[PEAK_SEEN] = PEAK_TICKS
            wrong = _CURRENT_PEAK
    else:
        s[PEAK_SEEN] = 0
    return wrong

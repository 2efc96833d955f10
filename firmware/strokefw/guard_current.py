"""Guards of the current: peak, fold-back of the mean, trips of the fast limit, stall, current while off, ranges.

One kernel call per tick on an array of integers, so that a tick costs tens of microseconds on the chip. All
elements are >= 0 (see compat.py).
"""

from array import array

from strokefw.compat import const, micropython, ptr32

# inputs and limits
LIMIT = const(0)  # mean current limit now, mA (derated)
SLEW = const(1)  # 1/10000 per tick
STALL_MA = const(2)
STALL_TICKS = const(3)
PEAK_MA = const(4)  # peak that means the fast limit does not cut
MEAN_TICKS = const(5)  # longest time above MEAN_OVER
# outputs
CAP = const(6)  # |drive| may be so much, 1/10000
FOLDED = const(7)  # 1 while fold-back holds the drive back
SLEW_DOWN = const(8)
BRAKING = const(9)  # 1 while the part feeds current back
# memory
FINE_CAP = const(10)  # CAP in 1/64
PEAK_SEEN = const(11)
MEAN_SEEN = const(12)
BUCKET = const(13)  # trips, leaking
STALLED = const(14)
WAS_A = const(15)
WAS_B = const(16)
OFF_SEEN = const(17)
DIFFER_SEEN = const(18)
WORDS = const(19)

FULL = const(10000)
FULL_FINE = const(640000)
PEAK_TICKS = const(3)
HARD_PEAK_MA = const(75000)  # at once: nothing on a healthy bench reaches it
TRIPS_LEAK = const(2)  # cycles per tick that may be cut for ever (a tenth of them)
TRIPS_FULL = const(600)  # 30 ms of nothing but cut cycles at 20 kHz
MOVED_MV = const(40)
BRAKE_MA = const(150)
OFF_MA = const(400)
OFF_TICKS = const(200)
DIFFER_MA = const(1200)
DIFFER_PEAK_MA = const(5500)  # a ripple peak beyond this clips in the fine range: the allowance grows with it
DIFFER_TICKS = const(100)
GAIN_DOWN = const(16)  # of 256: a sixteenth of the relative excess per tick
GAIN_UP = const(8)


@micropython.viper
def fold(s: ptr32, amps: int, drive: int):
    # Integral law on the relative error: its loop gain does not depend on supply or winding. The memory is kept
    # within one slew step of the drive in force, so that it cannot wind up while the slew limit delays the drive.
    limit = s[LIMIT]
    slew = s[SLEW]
    fine = s[FINE_CAP]
    top = (drive + slew) << 6
    bottom = (drive - slew) << 6
    if bottom < 64:
        bottom = 64
    if fine > top:
        fine = top
    if fine < bottom:
        fine = bottom
    error = ((limit - amps) << 10) // limit
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
    if fine >= top:
        s[FOLDED] = 0
        s[CAP] = FULL
    else:
        s[FOLDED] = 1
        s[CAP] = fine >> 6


@micropython.viper
def brake(s: ptr32, back_ma: int, room_mv: int):
    # back_ma flows against the drive; room_mv is left to the supply's limit: less drive would brake harder
    slew = s[SLEW]
    down = slew
    limit = s[LIMIT]
    s[BRAKING] = 0
    if back_ma > BRAKE_MA:
        s[BRAKING] = 1
        if back_ma > limit:
            down = slew * (2 * limit - back_ma) // limit
        if room_mv < 800:
            by_bus = 0
            if room_mv > 0:
                by_bus = slew * room_mv // 800
            if by_bus < down:
                down = by_bus
        least = slew >> 4
        if least < 1:
            least = 1
        if down < least:
            down = least
    s[SLEW_DOWN] = down


@micropython.viper
def watch(s: ptr32, amps: int, peak: int, trips: int) -> int:
    # 1 peak, 2 mean, 3 trips, 0 nothing
    told = 0
    if peak > s[PEAK_MA]:
        s[PEAK_SEEN] += 1
        if s[PEAK_SEEN] >= PEAK_TICKS or peak > HARD_PEAK_MA:
            told = 1
    else:
        s[PEAK_SEEN] = 0
    limit = s[LIMIT]
    if amps > limit + (limit >> 2) + 300:
        s[MEAN_SEEN] += 1
        if s[MEAN_SEEN] > s[MEAN_TICKS] and told == 0:
            told = 2
    elif s[MEAN_SEEN] > 0:
        s[MEAN_SEEN] -= 1
    bucket = s[BUCKET] + trips - TRIPS_LEAK
    if bucket < 0:
        bucket = 0
    if bucket >= TRIPS_FULL:
        bucket = TRIPS_FULL
        if told == 0:
            told = 3
    s[BUCKET] = bucket
    return told


@micropython.viper
def stalled(s: ptr32, amps: int, a_mv: int, b_mv: int) -> int:
    moved_a = a_mv - s[WAS_A]
    moved_b = b_mv - s[WAS_B]
    if moved_a > MOVED_MV or moved_a < 0 - MOVED_MV or moved_b > MOVED_MV or moved_b < 0 - MOVED_MV:
        s[WAS_A] = a_mv
        s[WAS_B] = b_mv
        s[STALLED] = 0
    elif amps > s[STALL_MA]:
        s[STALLED] += 1
    elif s[STALLED] > 0:
        s[STALLED] -= 1
    return 1 if s[STALLED] > s[STALL_TICKS] else 0


@micropython.viper
def sanity(s: ptr32, coarse: int, fine: int, peak: int, off: int) -> int:
    # 1 current while off, 2 ranges differ, 0 nothing
    told = 0
    if off and (coarse > OFF_MA or coarse < 0 - OFF_MA) and (fine > OFF_MA or fine < 0 - OFF_MA):
        s[OFF_SEEN] += 1
        if s[OFF_SEEN] > OFF_TICKS:
            told = 1
    else:
        s[OFF_SEEN] = 0
    differ = coarse - fine
    allowed = DIFFER_MA
    if peak > DIFFER_PEAK_MA:
        allowed += peak - DIFFER_PEAK_MA
    if differ > allowed or differ < 0 - allowed:
        s[DIFFER_SEEN] += 1
        if s[DIFFER_SEEN] > DIFFER_TICKS:
            told = 2
    else:
        s[DIFFER_SEEN] = 0
    return told

"""Guards of the current: peak, fold-back of the mean, trips, ranges, current while off.

Two kernels per tick on one array of integers (all >= 0, see compat.py): ``bound`` limits the next drive,
``watch`` judges the tick. They are long because on the chip a call costs more than what it does.
"""

from strokefw import channels, faults
from strokefw.compat import const, micropython, ptr32
from strokefw.sensing import sense

# limits, mA and ticks
LIMIT = const(0)  # mean current now (derated)
SLEW = const(1)  # 1/10000 per tick
PEAK_MA = const(2)  # peak that means the fast limit does not cut
MEAN_TICKS = const(3)  # longest time above the limit and a quarter
SUPPLY_MAX_MV = const(4)
# results
CAP = const(5)  # |drive| may be so much, 1/10000
FOLDED = const(6)  # 1 while fold-back holds the drive back
SLEW_DOWN = const(7)
BRAKING = const(8)  # 1 while the ramp down is slowed
AMPS = const(9)  # |current|
SIZE = const(10)  # |drive|
BACK = const(11)  # current against the drive, 0 if none
SQUARES = const(12)  # sum of (root mean square of a tick / 8 mA) squared, until there are eight
# memory
FINE_CAP = const(13)  # CAP in 1/64
PEAK_SEEN = const(14)
MEAN_SEEN = const(15)
BUCKET = const(16)  # trips, leaking
OFF_SEEN = const(17)
DIFFER_SEEN = const(18)
# where the sensor's tracks were, mV, and the sum since of how far they are from it, in two of eight
# ticks each: stall.py
WAS_A = const(19)
WAS_B = const(20)
SUM_A = const(21)
SUM_B = const(22)
# by board kind, set once, mA
OFF = const(23)
DIFFER = const(24)
DIFFER_PEAK = const(25)
HARD_PEAK = const(26)
STILL = const(27)
EIGHT = const(28)  # the last whole SQUARES
RATE = const(29)  # SLEW_DOWN in 1/256, and what it left over
RATE_REST = const(30)
WORDS = const(31)

FULL = const(10000)
FULL_FINE = const(640000)
PEAK_TICKS = const(3)
# on the reference bench; a board with finer ranges divides them
HARD_PEAK_MA = const(75000)  # at once: nothing on a healthy bench reaches it
TRIPS_LEAK = const(2)  # cycles per tick that may be cut for ever (a tenth of them)
TRIPS_FULL = const(600)  # some 30 ms of nothing but cut cycles at 20 kHz
FAR_MV = const(500)  # further away than that counts no more
BRAKE_MA = const(150)
KEPT_MV = const(200)  # so near the supply's limit the drive hardly falls while the part feeds back
STORED_MV = const(300)  # so far above the supply the bridge's capacitors hold what a part fed back
# the drive's fall while the part feeds back, in 1/256 of 1/10000 per tick
SLOWEST = const(16)  # full drive ends after 160 s even if somebody else turns the part
RECOVERY = const(256)
OFF_MA = const(400)
OFF_TICKS = const(200)
DIFFER_MA = const(1200)
DIFFER_PEAK_MA = const(5500)  # a ripple peak beyond this clips in the fine range: more is allowed with it
DIFFER_TICKS = const(100)
GAIN_DOWN = const(16)  # of 256: a sixteenth of the relative excess per tick
GAIN_UP = const(8)
AMPS_MAX = const(85000)
STILL_MA = const(800)  # largest to smallest reading of a tick that may be the coarse range's own noise


# places in CODES
_CURRENT_PEAK = const(1)
_CURRENT_MEAN = const(2)
_TRIPS = const(3)
_CURRENT_OFF = const(4)
_RANGES_DIFFER = const(5)
CODES = bytes(
    (
        0,
        faults.CURRENT_PEAK,
        faults.CURRENT_MEAN,
        faults.TRIPS,
        faults.CURRENT_OFF,
        faults.RANGES_DIFFER,
    )
)


def scale(words, finer):
    """Set what depends on the current ranges, which are ``finer`` times those of the reference bench."""
    for place, milliamps in (
        (OFF, OFF_MA), (DIFFER, DIFFER_MA), (DIFFER_PEAK, DIFFER_PEAK_MA), (HARD_PEAK, HARD_PEAK_MA),
        (STILL, STILL_MA),
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
    # what heats is the root mean square: of a ripple with straight edges, a twelfth of its height squared
    eighth = amps >> 3
    square = eighth * eighth
    ripple = v[sense.B_MAX] - v[sense.B_MIN] - s[STILL]
    if ripple > 0:
        if ripple > AMPS_MAX:
            ripple = AMPS_MAX
        ripple >>= 3
        ripple = ripple * ripple >> 4
        square += ripple + (ripple >> 2) + (ripple >> 4)
    s[SQUARES] += square

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

    # Regeneration: the bus cannot give back to the battery, and a drive that is held still lifts it to the
    # part's own voltage over the drive. So a quarter of an ampere may flow for each volt of room, and close
    # to the limit the drive falls no faster than a rotor slows by itself. While the bus is no higher than the
    # supply, nothing is stored that could harm: then a wrong zero of the current only slows the way down.
    fastest = slew << 8
    rate = fastest
    low = v[channels.VIN] + STORED_MV - bus  # terminals that nobody measures read 0: as slow as it can be
    if back > BRAKE_MA or (s[BRAKING] and size and low <= 0 and forward < BRAKE_MA):
        room = s[SUPPLY_MAX_MV] - bus - KEPT_MV
        rate = SLOWEST
        if low > 0:
            rate += low << 2
        if room > 0 and back < room >> 2:
            allowed = slew * ((room >> 2) - back) >> 2
            if allowed > room * room >> 8:
                allowed = room * room >> 8
            if rate < allowed:
                rate = allowed
        s[BRAKING] = 1
    if s[BRAKING]:
        recovered = s[RATE] + RECOVERY  # per tick: brushes let the current swing
        if rate > recovered:
            rate = recovered
        if rate >= fastest:
            rate = fastest
            s[BRAKING] = 0
    s[RATE] = rate
    rate += s[RATE_REST]
    s[SLEW_DOWN] = rate >> 8
    s[RATE_REST] = rate & 255


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
        if amps > s[OFF] and differ < s[OFF] + (amps >> 2):
            s[OFF_SEEN] += 1
            if s[OFF_SEEN] > OFF_TICKS:
                s[OFF_SEEN] = OFF_TICKS
                wrong = _CURRENT_OFF
        else:
            s[OFF_SEEN] = 0
    else:
        s[OFF_SEEN] = 0

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

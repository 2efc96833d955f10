"""The tick's own bookkeeping as kernels, and the array of App that they work on (``App.words``).

An attribute costs the chip 2 us and a sum as much again; here a dozen of both cost one call.
"""

from strokefw import channels, state
from strokefw.compat import const, micropython, ptr8, ptr16, ptr32
from strokefw.drive import kernel as ramp_kernel
from strokefw.guard import guards as guard
from strokefw.link import wire
from strokefw.sensing import sense
from strokefw.tick import events

TICKS = const(0)
BEGAN = const(1)  # start of the present tick, us
BUSY_US = const(2)  # sum of all ticks, wraps
MAX_US = const(3)
OVERRUNS = const(4)
STATE = const(5)
RAIL = const(6)
STOP_ASK = const(7)
ASK = const(8)
FAULT = const(9)  # latched code
AFTER = const(10)  # fault that the present ramp-down ends in
LINK_CODE = const(11)  # what link/watch.py found
SHOWN = const(12)  # code of the present row
RUNNING = const(13)  # a run or jog is on, and its rows stream
TAIL = const(14)
ALWAYS = const(15)  # rows stream in every state
RING_HEAD = const(16)  # rows ever put, wraps with TICK_MASK
ALIVE = const(17)  # set by the service; counts down every four ticks
TRIPS = const(18)
TELL_HEAD = const(19)
STOPPING_LEFT = const(20)
END_REASON = const(21)  # of the run
END_CODE = const(22)
DISARM_AFTER = const(23)
CHECK_THEN = const(24)
ANSWER = const(25)  # result of the last ask, ANSWER_PENDING until there is one
CAPTURE_TICK = const(26)
BUSY = const(27)  # set by an event of this tick: what can wait does
WAITING = const(28)  # what waits, as bits; one of them a tick
WARNED = const(29)  # code that the last warning told
QUIET = const(30)  # no other warning for so many SELDOM
UNASKED = const(31)  # no self-test before somebody asks for one
WORDS = const(32)

LATE_US = const(1900)  # from one tick's start to the next: one has been missed
_ROW = const(wire.SAMPLE_BYTES // 2)  # halfwords
_EVENT = const(wire.EVENT_BYTES // 2)
# what ``close`` tells, as bits
TAIL_OVER = const(1)
FEED = const(2)  # the board's watchdog is due, and the main loop was there lately
SELDOM = const(4)  # every eighth tick
# what ``neglected`` returns
HOST_SILENT = const(1)
LOOP_AWAY = const(2)

_log = events.put
_off = ramp_kernel.off


@micropython.viper
def begin(w: ptr32, now_us: int) -> int:
    """Count the tick that starts at ``now_us``; return 1 when one was missed before it."""
    late = (now_us - w[BEGAN]) & state.TICK_MASK
    w[BEGAN] = now_us
    tick = w[TICKS]
    if tick < state.TICK_MASK:  # never 2^30, which would need the heap
        tick += 1
    else:
        tick = 0
    w[TICKS] = tick
    if late > LATE_US and tick > 2:
        w[OVERRUNS] += 1
        return 1
    return 0


@micropython.viper
def neglected(w: ptr32, own: ptr32, played: ptr32) -> int:
    """Return how the bench is left to itself with its supply closed, 0 not at all.

    HOST_SILENT: it drives, and the host has been silent for too long (in a pause too, where the guard sees
    the bridge off). LOOP_AWAY: the main loop has been away for so long that the board's watchdog starves; it
    must not drive again when that loop comes back.
    """
    now = w[STATE]
    if now > state.READY and now < state.LATCHED:
        if now == state.DRIVING:
            since = own[guard.SILENT]
            if since > own[guard.HEARTBEAT]:
                return HOST_SILENT
            if since > state.JOG_SILENT_MS and played[ramp_kernel.MODE] == ramp_kernel.JOG:
                return HOST_SILENT
        if w[ALIVE] == 0:
            return LOOP_AWAY
    return 0


@micropython.viper
def heed(w: ptr32, own: ptr32, played: ptr32, code: int, trips: int, late: int) -> int:
    """Return other than 0 when this tick has more to do than to go on: a fault, a request, neglect."""
    if code | trips | late | w[STOP_ASK] | w[ASK]:
        return 1
    how = int(neglected(w, own, played))
    return how


@micropython.viper
def close(w: ptr32, v: ptr32, ring: ptr16, played: ptr32, own: ptr32, code: int) -> int:
    """Settle the code shown, put the sample row (``wire.SAMPLE_FORMAT``) into its ring of 256 when rows
    stream, and return what else is due.
    """
    shown = w[FAULT]
    if shown == 0:
        shown = w[AFTER]
    if shown == 0:
        shown = code
    if shown == 0:
        shown = own[guard.WARN]
    if shown == 0:
        shown = w[LINK_CODE]
    w[SHOWN] = shown
    tick = w[TICKS]
    due = 0
    if w[RUNNING] | w[TAIL] | w[ALWAYS]:
        head = w[RING_HEAD]
        at = (head & (state.RING_ROWS - 1)) * _ROW
        drive = played[ramp_kernel.DRIVE] - sense.BIAS
        current = v[sense.B_MERGED] - sense.BIAS
        ring[at] = tick & 0xFFFF
        ring[at + 1] = tick >> 16
        ring[at + 2] = drive & 0xFFFF
        ring[at + 3] = current & 0xFFFF
        ring[at + 4] = (current >> 16) & 0xFFFF
        ring[at + 5] = v[channels.BUS]
        ring[at + 6] = v[channels.LEG_A]
        ring[at + 7] = v[channels.LEG_B]
        ring[at + 8] = v[sense.RATIO_A]
        ring[at + 9] = v[sense.RATIO_B]
        ring[at + 10] = (v[sense.HEATSINK] - sense.BIAS) & 0xFFFF
        ring[at + 11] = (v[sense.PART] - sense.BIAS) & 0xFFFF
        ring[at + 12] = w[STATE] | shown << 8
        if head < state.TICK_MASK:
            head += 1
        else:
            head = 0
        w[RING_HEAD] = head
        tail = w[TAIL]
        if tail:
            w[TAIL] = tail - 1
            if tail == 1:
                due = TAIL_OVER
    waiting = w[WAITING]
    turn = own[guard.TURN]  # not the tick's number, which jumps while the flash is written
    if turn & 3 == 3:  # the guards' long turns are 2, 4 and 6
        # The board's watchdog waits 10 ms only, and collecting garbage keeps the main loop away for 25: so
        # the tick feeds it, as long as that loop was there lately.
        if w[ALIVE]:
            w[ALIVE] -= 1
            waiting |= FEED
    elif turn == 5:
        waiting |= SELDOM
    if w[BUSY] | due:
        w[BUSY] = 0
    elif waiting & FEED:
        due = FEED
        waiting &= SELDOM
    else:
        due = waiting
        waiting = 0
    w[WAITING] = waiting
    return due


@micropython.viper
def wind_down(w: ptr32, reason: int, code: int):
    """Note how a run ends: ``reason``, the fault ``code`` or 0; its ramp to zero may take STOPPING_MAX_MS."""
    w[END_REASON] = reason
    w[END_CODE] = code
    w[AFTER] = code
    w[STOPPING_LEFT] = state.STOPPING_MAX_MS


@micropython.viper
def wound_down(w: ptr32, played: ptr32) -> int:
    """Note that it has ended; its rows stream for TAIL_MS more. Return the fault that it ends in, or 0."""
    _off(played)
    code = w[AFTER]
    w[AFTER] = 0
    if w[RUNNING]:
        w[RUNNING] = 0
        w[TAIL] = state.TAIL_MS
    return code


@micropython.viper
def cut_short(w: ptr32, played: ptr32, code: int):
    """Note that the fault ``code`` ends at once whatever goes on; the ramp is off."""
    _off(played)
    w[AFTER] = 0
    w[DISARM_AFTER] = 0
    if w[RUNNING]:
        w[RUNNING] = 0
        w[TAIL] = state.TAIL_MS
        w[END_REASON] = state.END_FAULT
        w[END_CODE] = code
    if w[STATE] == state.CHECK:
        w[ANSWER] = code


@micropython.viper
def end(w: ptr32, now_us: int):
    """Add up what the tick took."""
    spent = (now_us - w[BEGAN]) & state.TICK_MASK
    w[BUSY_US] = (w[BUSY_US] + spent) & state.TICK_MASK
    if spent > w[MAX_US]:
        w[MAX_US] = spent


@micropython.viper
def tell(w: ptr32, ring: ptr16, kind: int, code: int, index: int, detail: int):
    """Put an event (``wire.EVENT_FORMAT``) into its ring of 64."""
    w[BUSY] = 1
    head = w[TELL_HEAD]
    at = (head & (state.TELL_SLOTS - 1)) * _EVENT
    ring[at] = w[TICKS] & 0xFFFF
    ring[at + 1] = w[TICKS] >> 16
    ring[at + 2] = kind | code << 8
    ring[at + 3] = index & 0xFFFF
    ring[at + 4] = detail & 0xFFFF
    ring[at + 5] = (detail >> 16) & 0xFFFF
    if head < state.TICK_MASK:
        head += 1
    else:
        head = 0
    w[TELL_HEAD] = head


@micropython.viper
def latch(w: ptr32, code: int, latched: int) -> int:
    """Latch a fault if it is one that latches; return the state it leads to."""
    if latched:
        w[FAULT] = code
        return state.LATCHED
    return state.READY


@micropython.viper
def report(w: ptr32, ring: ptr16, log: ptr16, code: int, current_ma: int):
    """Tell a fault, and put it into the log that outlives the power."""
    tell(w, ring, state.EVENT_FAULT, code, 0, current_ma)
    _log(log, w[TICKS], state.EVENT_FAULT, code, current_ma)


@micropython.viper
def move(w: ptr32, ring: ptr16, allowed: ptr8, new: int) -> int:
    """Go to state ``new`` and tell it; return 0 when there is no way from the present one to it."""
    old = w[STATE]
    if old == new:
        return 1
    if (int(allowed[old]) >> new) & 1 == 0:
        return 0
    w[STATE] = new
    w[BUSY] = 1
    head = w[TELL_HEAD]  # as ``tell`` does; a call would cost as much again
    at = (head & (state.TELL_SLOTS - 1)) * _EVENT
    ring[at] = w[TICKS] & 0xFFFF
    ring[at + 1] = w[TICKS] >> 16
    ring[at + 2] = state.EVENT_STATE | new << 8
    ring[at + 3] = old
    ring[at + 4] = 0
    ring[at + 5] = 0
    if head < state.TICK_MASK:
        head += 1
    else:
        head = 0
    w[TELL_HEAD] = head
    return 1

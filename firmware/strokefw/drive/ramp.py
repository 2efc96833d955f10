"""Segments to drive: runs a procedure, a jog or a ramp-down, one tick at a time, within the slew limit.

Every segment lasts exactly its ticks, whatever the slew limit makes of its drive; only a watch ends one
early and only a capture lets one wait. The drive changes by at most ``slew`` per tick, rests at zero for a
tick when it reverses, and drops at once only to off (PAUSE).
"""

from array import array

from strokefw import channels, faults
from strokefw.compat import const, keep_bound, micropython, word
from strokefw.drive import kernel as at

RAMP = at.RAMP  # to target, evenly over duration_ms
HOLD = const(2)  # at target for duration_ms
STEP = const(3)  # to target as fast as the slew limit allows; duration_ms counts from its start
PULSE = at.PULSE  # p3 times: target for p1 ms, p4 for p2 ms
PAUSE = at.PAUSE  # all MOSFETs off for duration_ms; from any drive at once
BURST = at.BURST  # capture channel p1 at p2 Hz, p3 values, p4 of them before the trigger
KIND_NAMES = ("", "ramp", "hold", "step", "pulse", "pause", "burst")

WATCH_NAMES = (
    "", "current_above", "current_below", "sensor_a_above", "sensor_a_below", "sensor_b_above",
    "sensor_b_below",
)  # fmt: skip
WATCH_NEXT = const(0)
WATCH_END = const(1)

SEGMENTS_MAX = const(250)
DURATION_MAX_MS = const(600000)
PULSES_MAX = const(10000)
BURST_MAX = const(50000)
_WORDS = at.SEGMENT_WORDS

IDLE = at.IDLE  # modes
PROCEDURE = at.PROCEDURE
JOG = at.JOG
DOWN = at.DOWN

BEGAN = const(1)  # what a step tells, as bits
FIRED = const(2)
ENDED = const(4)

CAPTURE_NONE = const(0)
CAPTURE_ASKED = at.CAPTURE_ASKED
CAPTURE_RUNNING = at.CAPTURE_RUNNING
CAPTURE_DONE = at.CAPTURE_DONE

_look = at.look
_advance = at.advance
_take = at.begin
_aim = at.aim
_off = at.off
_BIAS = at.BIAS


class Ramp:
    """``drive`` (1/10000) and ``gate`` in force; ``index`` the segment; ``capture`` the state of a burst.

    ``words`` holds what changes from tick to tick, by the places in drive/kernel.py.
    """

    index = word(at.INDEX)
    last_index = word(at.LAST_INDEX)
    capture = word(at.CAPTURE)
    capture_at = word(at.CAPTURE_AT)
    trigger = word(at.TRIGGER)

    def __init__(self):
        self.table = array("i")  # as long as the procedure needs
        self.words = array("i", [0] * at.WORDS)
        self.count = 0
        self.bounds(0, 0, 1)
        self.words[at.WHOLE] = _BIAS
        self.cut()
        keep_bound(self, "start", "jog", "down", "cut", "turn")

    def bounds(self, low, high, slew):
        """Set the least and the greatest drive, and the slew limit per tick."""
        self.words[at.LOW] = low + _BIAS
        self.words[at.HIGH] = high + _BIAS
        self.words[at.SLEW] = slew

    @property
    def drive(self):
        """Drive in force, 1/10000."""
        return self.words[at.DRIVE] - _BIAS

    @property
    def gate(self):
        """1 while the bridge switches, 0 while all MOSFETs are off."""
        return self.words[at.GATE]

    @property
    def mode(self):
        """IDLE, PROCEDURE, JOG or DOWN."""
        return self.words[at.MODE]

    @property
    def slew(self):
        """Slew limit per tick, 1/10000."""
        return self.words[at.SLEW]

    # -- loading (service side) --------------------------------------------------------------------

    def begin(self, count):
        """Forget all segments and expect ``count``; return 0 or a refusal."""
        if not 1 <= count <= SEGMENTS_MAX:
            return faults.OUT_OF_RANGE
        self.count = 0
        self.table = array("i", [0] * (_WORDS * count))
        self.count = count
        return 0

    def put(self, index, values):
        """Store a segment: ``values`` kind, target, duration, p1..p4, watch, action, value, after, hold."""
        if index >= self.count:
            return faults.OUT_OF_RANGE
        code = check(values)
        if not code:
            base = index * _WORDS
            for i in range(at.SEG_LOADED):
                self.table[base + i] = values[i]
            self.table[base + at.SEG_TARGET] += _BIAS  # a kernel reads what may be negative biased
            if values[0] == PULSE:
                self.table[base + at.SEG_P4] += _BIAS
            self.table[base + at.SEG_LOADED] = 1
        return code

    def complete(self):
        """Return 0 when every announced segment is there and within the drive limits, else a refusal."""
        if not self.count:
            return faults.INCOMPLETE
        low = self.words[at.LOW]
        high = self.words[at.HIGH]
        for index in range(self.count):
            base = index * _WORDS
            if not self.table[base + at.SEG_LOADED]:
                return faults.INCOMPLETE
            if not low <= self.table[base + at.SEG_TARGET] <= high:
                return faults.OUT_OF_RANGE
            if self.table[base] == PULSE and not low <= self.table[base + at.SEG_P4] <= high:
                return faults.OUT_OF_RANGE
        return 0

    def capture_wanted(self):
        """Return (channel, rate_hz, count, pre) of the capture asked for."""
        base = self.capture_at * _WORDS
        return (
            self.table[base + at.SEG_P1],
            self.table[base + at.SEG_P2],
            self.table[base + at.SEG_P3],
            self.table[base + at.SEG_P4],
        )

    # -- running (tick side, allocation-free) ------------------------------------------------------

    def start(self):
        """Begin the stored procedure with the next step."""
        w = self.words
        _aim(w, PROCEDURE, 0)
        w[at.INDEX] = -1
        w[at.CAPTURE] = CAPTURE_NONE

    def jog(self, target):
        """Follow ``target`` until told otherwise."""
        _aim(self.words, JOG, target)

    def down(self):
        """Go to zero within the slew limit."""
        _aim(self.words, DOWN, 0)

    def cut(self):
        """Be off at once."""
        _off(self.words)

    def step(self, values, cap, slew_down):
        """Advance one tick, as the tick does by itself; ``values`` are the readings (sense.values), ``cap``
        bounds |drive|, ``slew_down`` its fall. Return BEGAN, FIRED, ENDED.
        """
        happened = _look(self.words, values)
        if happened:
            happened = self.turn(happened)
        if not happened & ENDED:
            _advance(self.words, cap, slew_down)
        return happened

    @micropython.native
    def turn(self, due):
        """The segment is over by what ``look`` found; return BEGAN, FIRED, ENDED."""
        happened = 0
        w = self.words
        index = w[at.INDEX]
        if due == at.WATCHED:
            happened = FIRED
            w[at.LAST_INDEX] = index
            if w[at.WATCH_ACTION] == WATCH_END:
                return FIRED | ENDED
        index += 1
        if index >= self.count:
            return happened | ENDED
        _take(w, self.table, index)
        return happened | BEGAN


def check(values):
    """Return 0 when a segment's values (as for ``Ramp.put``) make sense by themselves, else a refusal."""
    kind, target, duration, p1, p2, p3, p4, watch, action, value, _after, _hold = values
    if not RAMP <= kind <= BURST or watch >= len(WATCH_NAMES) or action > WATCH_END:
        return faults.BAD_MESSAGE
    good = -10000 <= target <= 10000 and 0 <= value < 1 << 30
    if kind == PULSE:
        good = good and 1 <= p1 <= DURATION_MAX_MS and 1 <= p2 <= DURATION_MAX_MS
        good = good and 1 <= p3 <= PULSES_MAX and -10000 <= p4 <= 10000
    elif kind == BURST:
        good = good and 0 <= p1 < channels.N_CHANNELS and 1 <= p2 <= 1000000
        good = good and 1 <= p3 <= BURST_MAX and 0 <= p4 < p3
    else:
        good = good and 1 <= duration <= DURATION_MAX_MS
    return 0 if good else faults.OUT_OF_RANGE

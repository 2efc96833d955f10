"""Segments to drive: runs a procedure, a jog or a ramp-down, one tick at a time, within the slew limit.

Every segment lasts exactly its ticks, whatever the slew limit makes of its drive; only a watch ends one
early and only a capture lets one wait. The drive changes by at most ``slew`` per tick, rests at zero for a
tick when it reverses, and drops at once only to off (PAUSE).
"""

from array import array

from strokefw import channels, faults
from strokefw import ramp_kernel as at
from strokefw.compat import const, micropython

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
_WORDS = const(13)  # kind target duration p1 p2 p3 p4 watch action value after hold loaded
_LOADED = const(12)

IDLE = at.IDLE  # modes
PROCEDURE = at.PROCEDURE
JOG = at.JOG
DOWN = at.DOWN

BEGAN = const(1)  # what a step tells, as bits
FIRED = const(2)
ENDED = const(4)

CAPTURE_NONE = const(0)
CAPTURE_ASKED = const(1)  # the service has to start it
CAPTURE_RUNNING = const(2)
CAPTURE_DONE = const(3)  # captured or failed


PLACES = (
    (0, at.MODE), (1, at.KIND), (2, at.LEFT), (7, at.WANT), (8, at.DRIVE), (9, at.GATE), (13, at.WATCH),
)  # fmt: skip
_look = at.look
_advance = at.advance
_take = at.begin
_BIAS = at.BIAS


class Ramp:
    """``drive`` (1/10000) and ``gate`` in force; ``index`` the segment; ``capture`` the state of a burst.

    ``words`` holds what changes from tick to tick, by the places in ramp_kernel.py.
    """

    def __init__(self):
        self.table = array("i")  # as long as the procedure needs
        self.words = array("i", [0] * at.WORDS)
        self.count = 0
        self.index = self.last_index = 0
        self.watch_action = 0
        self.capture = CAPTURE_NONE
        self.capture_at = 0  # index of the segment that asked for it
        self.pre_left = 0
        self.trigger = 0  # the board's capture has to be triggered in this tick
        self.bounds(0, 0, 1)
        self.words[at.WHOLE] = _BIAS
        self.cut()
        self.step = _stepper(self)

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
            for i in range(_LOADED):
                self.table[base + i] = values[i]
            self.table[base + 1] += _BIAS  # a kernel reads what may be negative biased
            if values[0] == PULSE:
                self.table[base + 6] += _BIAS
            self.table[base + _LOADED] = 1
        return code

    def complete(self):
        """Return 0 when every announced segment is there and within the drive limits, else a refusal."""
        if not self.count:
            return faults.INCOMPLETE
        low = self.words[at.LOW]
        high = self.words[at.HIGH]
        for index in range(self.count):
            base = index * _WORDS
            if not self.table[base + _LOADED]:
                return faults.INCOMPLETE
            if not low <= self.table[base + 1] <= high:
                return faults.OUT_OF_RANGE
            if self.table[base] == PULSE and not low <= self.table[base + 6] <= high:
                return faults.OUT_OF_RANGE
        return 0

    def capture_wanted(self):
        """Return (channel, rate_hz, count, pre) of the capture asked for."""
        base = self.capture_at * _WORDS
        return self.table[base + 3], self.table[base + 4], self.table[base + 5], self.table[base + 6]

    # -- running (tick side, allocation-free) ------------------------------------------------------

    @micropython.native
    def _set(self, mode, want):
        w = self.words  # places in ramp_kernel.py; a test compares PLACES
        w[0] = mode
        w[7] = want + _BIAS
        w[1] = w[13] = w[2] = 0

    def start(self):
        """Begin the stored procedure with the next step."""
        self._set(PROCEDURE, 0)
        self.index = -1
        self.capture = CAPTURE_NONE

    def jog(self, target):
        """Follow ``target`` until told otherwise."""
        self._set(JOG, target)

    def down(self):
        """Go to zero within the slew limit."""
        self._set(DOWN, 0)

    def cut(self):
        """Be off at once."""
        self._set(IDLE, 0)
        self.words[8] = _BIAS
        self.words[9] = 0

    @micropython.native
    def _turn(self, due):
        # the segment may be over: return what is told, and 0 when it goes on
        told = 0
        if due == at.HELD:
            if not self._captured():
                return 0
        elif due == at.WATCHED:
            told = FIRED
            self.last_index = self.index
            if self.watch_action == WATCH_END:
                return FIRED | ENDED
        index = self.index + 1
        if index >= self.count:
            return told | ENDED
        self._begin(index)
        return told | BEGAN

    @micropython.native
    def _begin(self, index):
        self.index = index
        table = self.table
        base = index * _WORDS
        _take(self.words, table, base)
        self.watch_action = table[base + 8]
        if table[base] == BURST:
            self.capture_at = index
            self.pre_left = -1
            self.capture = CAPTURE_ASKED

    def _captured(self):
        # a capture without pre-trigger holds the segment until it is done; one with it until its pre-trigger
        # part is full, and the next segment's first tick is the trigger
        if self.capture == CAPTURE_DONE:
            return 1
        if self.capture != CAPTURE_RUNNING:
            return 0
        base = self.index * _WORDS
        pre = self.table[base + 6]
        if pre == 0:
            return 0
        if self.pre_left < 0:
            self.pre_left = pre * 1000 // self.table[base + 4] + 1
        self.pre_left -= 1
        if self.pre_left > 0:
            return 0
        self.trigger = 1
        return 1


def _stepper(ramp):
    # what ``step`` needs, as locals: see compat.py on the cost of names
    needs = ramp.words, ramp._turn, _look, _advance

    @micropython.native
    def step(values, cap, slew_down, needs=needs):
        """Advance one tick; ``values`` are the readings (sense.values), ``cap`` bounds |drive|, ``slew_down``
        its fall. Return BEGAN, FIRED, ENDED. Allocates nothing.
        """
        words, turn, look, advance = needs
        due = look(words, values)
        if due:
            due = turn(due)
            if due & ENDED:
                return due
        advance(words, cap, slew_down)
        return due

    return step


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

"""Segments to drive: runs a procedure, a jog or a ramp-down, one tick at a time, within the slew limit.

Every segment lasts exactly its ticks, whatever the slew limit makes of its drive; only a watch ends one
early and only a capture lets one wait. The drive changes by at most ``slew`` per tick, rests at zero for a
tick when it reverses, and drops at once only to off (PAUSE).
"""

from array import array

from strokefw import channels, faults
from strokefw.compat import const, micropython

RAMP = const(1)  # to target, evenly over duration_ms
HOLD = const(2)  # at target for duration_ms
STEP = const(3)  # to target as fast as the slew limit allows; duration_ms counts from its start
PULSE = const(4)  # p3 times: target for p1 ms, p4 for p2 ms
PAUSE = const(5)  # all MOSFETs off for duration_ms; from any drive at once
BURST = const(6)  # capture channel p1 at p2 Hz, p3 values, p4 of them before the trigger
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

IDLE = const(0)  # modes
PROCEDURE = const(1)
JOG = const(2)
DOWN = const(3)

BEGAN = const(1)  # what a step tells, as bits
FIRED = const(2)
ENDED = const(4)

CAPTURE_NONE = const(0)
CAPTURE_ASKED = const(1)  # the service has to start it
CAPTURE_RUNNING = const(2)
CAPTURE_DONE = const(3)  # captured or failed


class Ramp:
    """``drive`` (1/10000) and ``gate`` in force; ``index`` the segment; ``capture`` the state of a burst."""

    def __init__(self):
        self.table = array("i", [0] * (_WORDS * SEGMENTS_MAX))
        self.count = 0
        self.drive = self.gate = self.want = 0
        self.mode = IDLE
        self.index = self.last_index = self.kind = 0
        self.slew = 1
        self.low = self.high = 0
        self.left = self.total = self.whole = self.rest = self.spare = 0
        self.phase = self.pulses = 0
        self.watch = self.watch_action = self.watch_value = 0
        self.watch_after = self.watch_hold = self.watch_seen = 0
        self.capture = CAPTURE_NONE
        self.capture_at = 0  # index of the segment that asked for it
        self.pre_left = 0
        self.trigger = 0  # the board's capture has to be triggered in this tick

    # -- loading (service side) --------------------------------------------------------------------

    def begin(self, count):
        """Forget all segments and expect ``count``; return 0 or a refusal."""
        if not 1 <= count <= SEGMENTS_MAX:
            return faults.OUT_OF_RANGE
        self.count = count
        for index in range(SEGMENTS_MAX):
            self.table[index * _WORDS + _LOADED] = 0
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
            self.table[base + _LOADED] = 1
        return code

    def complete(self):
        """Return 0 when every announced segment is there and within the drive limits, else a refusal."""
        if not self.count:
            return faults.INCOMPLETE
        for index in range(self.count):
            base = index * _WORDS
            if not self.table[base + _LOADED]:
                return faults.INCOMPLETE
            if not self.low <= self.table[base + 1] <= self.high:
                return faults.OUT_OF_RANGE
            if self.table[base] == PULSE and not self.low <= self.table[base + 6] <= self.high:
                return faults.OUT_OF_RANGE
        return 0

    def capture_wanted(self):
        """Return (channel, rate_hz, count, pre) of the capture asked for."""
        base = self.capture_at * _WORDS
        return self.table[base + 3], self.table[base + 4], self.table[base + 5], self.table[base + 6]

    # -- running (tick side, allocation-free) ------------------------------------------------------

    def start(self):
        """Begin the stored procedure with the next step."""
        self.mode = PROCEDURE
        self.index = -1
        self.left = 0
        self.kind = self.watch = 0
        self.capture = CAPTURE_NONE

    def jog(self, target):
        """Follow ``target`` until told otherwise."""
        self.mode = JOG
        self.want = target
        self.kind = 0

    def down(self):
        """Go to zero within the slew limit."""
        self.mode = DOWN
        self.want = 0
        self.kind = self.watch = 0

    def cut(self):
        """Be off at once."""
        self.mode = IDLE
        self.drive = self.gate = self.want = 0
        self.kind = self.watch = 0

    @micropython.native
    def step(self, sense, cap, slew_down):
        """Advance one tick; ``cap`` bounds |drive|, ``slew_down`` its fall. Return BEGAN, FIRED, ENDED."""
        told = 0
        if self.mode == PROCEDURE:
            watch = self.watch
            if watch:
                if self.watch_after:
                    self.watch_after -= 1
                else:
                    if watch < 3:
                        value = sense.current_ma
                        if value < 0:
                            value = 0 - value
                    elif watch < 5:
                        value = sense.sensor_a_mv
                    else:
                        value = sense.sensor_b_mv
                    if (value > self.watch_value) if watch & 1 else (value < self.watch_value):
                        self.watch_seen += 1
                        if self.watch_seen > self.watch_hold:
                            told = FIRED
                            self.last_index = self.index
                    else:
                        self.watch_seen = 0
            if told or (self.left == 0 and self.kind != BURST) or (self.kind == BURST and self._captured()):
                told |= self._next(told)
                if told & ENDED:
                    return told
            kind = self.kind
            if kind < PULSE:
                self.left -= 1
                self.want += self.whole
                self.spare += self.rest
                if self.spare >= self.total:
                    self.spare -= self.total
                    self.want += 1
            elif kind == PULSE:
                self._pulse()
            elif kind == PAUSE:
                self.left -= 1
                self.drive = self.gate = self.want = 0
                return told
        self.gate = 1
        aim = self.want
        if aim > self.high:
            aim = self.high
        elif aim < self.low:
            aim = self.low
        if aim > cap:
            aim = cap
        elif aim < 0 - cap:
            aim = 0 - cap
        drive = self.drive
        if aim > drive:
            step = self.slew if drive >= 0 else slew_down
            if aim > drive + step:
                aim = drive + step
            if drive < 0 and aim > 0:
                aim = 0
        elif aim < drive:
            step = self.slew if drive <= 0 else slew_down
            if aim < drive - step:
                aim = drive - step
            if drive > 0 and aim < 0:
                aim = 0
        self.drive = aim
        return told

    def _next(self, fired):
        # begin the next segment, or end: after the last one, or when a fired watch says so
        if fired and self.watch_action == WATCH_END:
            return ENDED
        index = self.index + 1
        if index >= self.count:
            return ENDED
        self.index = index
        table = self.table
        base = index * _WORDS
        kind = table[base]
        duration = table[base + 2]
        self.kind = kind
        self.left = self.total = duration
        self.whole = self.rest = self.spare = 0
        self.want = table[base + 1]
        if kind == RAMP:
            change = table[base + 1] - self.drive
            self.want = self.drive
            self.whole = change // duration
            self.rest = change - self.whole * duration
        elif kind == PULSE:
            self.left = 1  # until the last pulse is over
            self.phase = 0
            self.pulses = table[base + 5] * 2
        elif kind == BURST:
            self.want = self.drive
            self.capture_at = index
            self.pre_left = -1
            self.capture = CAPTURE_ASKED
        self.watch = table[base + 7]
        self.watch_action = table[base + 8]
        self.watch_value = table[base + 9]
        self.watch_after = table[base + 10]
        self.watch_hold = table[base + 11]
        self.watch_seen = 0
        return BEGAN

    def _pulse(self):
        # pulses counts half periods left: even = the on part is next
        base = self.index * _WORDS
        if self.phase == 0:
            on = self.pulses & 1 == 0
            self.want = self.table[base + 1] if on else self.table[base + 6]
            self.phase = self.table[base + 3] if on else self.table[base + 4]
            self.pulses -= 1
        self.phase -= 1
        if self.phase == 0 and self.pulses == 0:
            self.left = 0

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

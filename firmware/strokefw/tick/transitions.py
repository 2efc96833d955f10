"""How the bench changes its state: what the host asked, ends of runs, checks, faults. Part of the tick.

Everything here runs inside ``App.tick`` and allocates nothing; state.py has the table of transitions. Native
is what a tick may do again and again: native code takes three times the memory of bytecode.
"""

from strokefw import channels, faults, state
from strokefw.compat import const, micropython
from strokefw.drive import kernel as ramp_kernel
from strokefw.drive import ramp
from strokefw.guard import guards as guard
from strokefw.sensing import sense
from strokefw.tick import kernel as at
from strokefw.tick import selftest

RAIL_OPEN = const(0)
RAIL_CLOSED = const(2)

_neglected = at.neglected
_wind_down = at.wind_down
_wound_down = at.wound_down
_cut_short = at.cut_short
_latch = at.latch
_aim = ramp_kernel.aim
_off = ramp_kernel.off
_put_event = at.tell
_went = at.move
_report = at.report
_ALLOWED = state.ALLOWED


class Transitions:
    """The half of App that moves between states; its attributes are App's."""

    @micropython.native
    def _heeded(self, code, trips, late):
        # what a tick has to do beyond going on; returns the code that counts in it
        w = self.words
        if trips:
            if w[at.STATE] == state.CHECK:
                self.selftest.words[selftest.CUT] += trips & (channels.LATCH_FELL - 1)
            else:
                w[at.TRIPS] += trips & (channels.LATCH_FELL - 1)
        if late and state.ARMED <= w[at.STATE] <= state.STOPPING:
            code = faults.TICK_OVERRUN
        if w[at.STOP_ASK]:
            self._stop()
        if w[at.ASK]:
            self._asked()
        if not code:
            how = _neglected(w, self.guard.own_words, self.ramp.words)
            if how:
                code = faults.HEARTBEAT_LOST if how == at.HOST_SILENT else faults.INTERNAL
        if code:
            self._protect(code)
        return code

    # -- what the host asked for -------------------------------------------------------------------

    def _asked(self):
        w = self.words
        ask = w[at.ASK]
        w[at.ASK] = state.ASK_NONE
        now = w[at.STATE]
        code = faults.NOT_NOW
        if ask == state.ASK_ARM or ask == state.ASK_CHECK:  # first, as its tick is the longest
            if now == state.LATCHED:
                code = faults.FAULT_LATCHED
            elif (
                now == state.READY
                or now == state.OFF
                or (now == state.CHECK and w[at.CHECK_THEN] == state.READY)
            ):
                code = self.guard.own_words[guard.BLOCK] if ask == state.ASK_ARM else 0
                if not code:
                    self._begin_check(state.ARMED if ask == state.ASK_ARM else state.READY)
                    code = state.ANSWER_PENDING
        elif ask == state.ASK_DISARM:
            code = self._disarm(now)
        elif ask == state.ASK_SESSION:
            code = self._new_session(now)
        elif ask == state.ASK_CLEAR:
            code = self._clear(now)
        elif now == state.LATCHED:
            code = faults.FAULT_LATCHED
        elif ask == state.ASK_RUN and now == state.ARMED:
            self.ramp.start()
            code = self._go()
        elif ask == state.ASK_JOG and now == state.ARMED:
            self.ramp.jog(self.ask_value)
            code = self._go()
        elif ask == state.ASK_JOG and now == state.DRIVING and self.ramp.mode == ramp.JOG:
            self.ramp.jog(self.ask_value)
            code = 0
        w[at.ANSWER] = code

    def _go(self):
        w = self.words
        if w[at.TAIL]:
            w[at.TAIL] = 0
            self._tell(state.EVENT_RUN_END, w[at.END_REASON], 0, w[at.END_CODE])
        w[at.RUNNING] = 1
        w[at.AFTER] = w[at.DISARM_AFTER] = 0
        self._move(state.DRIVING)
        return 0

    def _disarm(self, now):
        w = self.words
        if now == state.ARMED:
            self._open(state.READY)
        elif now == state.CHECK:
            self._abandon_check()
        elif now == state.DRIVING or now == state.STOPPING:
            w[at.DISARM_AFTER] = 1
            if now == state.DRIVING:
                self._ramp_down(state.END_STOPPED, 0)
        return 0

    def _new_session(self, now):
        # what an earlier host left behind ends at once, and its end is not told to the new one
        w = self.words
        w[at.DISARM_AFTER] = 1
        if now == state.DRIVING:
            self._ramp_down(state.END_STOPPED, 0)
        if w[at.STATE] == state.STOPPING:
            self._stopped()
        elif now == state.ARMED:
            self._open(state.READY)
        elif now == state.CHECK:
            self._abandon_check()
        w[at.DISARM_AFTER] = 0
        w[at.TAIL] = 0
        return 0

    def _clear(self, now):
        w = self.words
        if now != state.LATCHED:
            return 0
        if self.guard.own_words[guard.BLOCK]:
            return faults.FAULT_LATCHED
        w[at.FAULT] = 0
        self.guard.fresh()
        self._move(state.READY)
        return 0

    def _stop(self):
        w = self.words
        how = w[at.STOP_ASK]
        w[at.STOP_ASK] = 0
        ask = w[at.ASK]
        if ask == state.ASK_ARM or ask == state.ASK_RUN or ask == state.ASK_JOG or ask == state.ASK_CHECK:
            # what was asked before the stop does not begin after it
            w[at.ANSWER] = faults.NOT_NOW
            w[at.ASK] = state.ASK_NONE
        if w[at.STATE] == state.CHECK:
            self._abandon_check()
            return
        if w[at.STATE] == state.DRIVING:
            self._ramp_down(state.END_STOPPED, 0)
        if w[at.STATE] == state.STOPPING and how == state.STOP_NOW:
            self._stopped()

    # -- what follows from a step, a check, a fault ------------------------------------------------

    @micropython.native
    def _followed(self, happened):
        w = self.words
        player = self.ramp
        played = player.words
        if happened & ramp.FIRED:
            action = played[ramp_kernel.WATCH_ACTION] if happened & ramp.ENDED else 0
            _put_event(w, self.event_words, state.EVENT_WATCH, action, played[ramp_kernel.LAST_INDEX], 0)
        if happened & ramp.BEGAN:
            kind = played[ramp_kernel.KIND]
            _put_event(w, self.event_words, state.EVENT_SEGMENT, kind, played[ramp_kernel.INDEX], 0)
        if played[ramp_kernel.TRIGGER]:
            played[ramp_kernel.TRIGGER] = 0
            w[at.CAPTURE_TICK] = w[at.TICKS]
            self.board.burst_trigger()
        if happened & ramp.ENDED:
            self._ramp_down(state.END_WATCH if happened & ramp.FIRED else state.END_DONE, 0)

    def _ramp_down(self, reason, code):
        w = self.words
        _wind_down(w, reason, code)
        _aim(self.ramp.words, ramp_kernel.DOWN, 0)
        if not _went(w, self.event_words, _ALLOWED, state.STOPPING):
            self._lose_the_way()

    def _stopped(self):
        # at zero, or cut to it: where the ramp-down was to end
        w = self.words
        code = _wound_down(w, self.ramp.words)
        if code:
            self._open(_latch(w, code, faults.LATCHED[code]))
        elif w[at.DISARM_AFTER]:
            w[at.DISARM_AFTER] = 0
            self._open(state.READY)
        elif not _went(w, self.event_words, _ALLOWED, state.ARMED):
            self._lose_the_way()

    def armed(self):
        """Return true while the bridge's supply is or is about to be closed (service side)."""
        now = self.state
        return state.ARMED <= now <= state.STOPPING or (now == state.CHECK and self.check_then == state.ARMED)

    def _protect(self, code):
        w = self.words
        severity = faults.SEVERITY[code]
        now = w[at.STATE]
        if severity < faults.STOP or now == state.LATCHED or now == state.OFF:
            return
        if now == state.CHECK:  # the check judges by its own rules, but for what is dangerous in any state
            if code != faults.ESTOP and code != faults.SUPPLY_HIGH:
                return
        elif severity == faults.STOP:
            if now == state.DRIVING:
                _report(w, self.event_words, self.log.words, code, self.sense.values[sense.MERGED])
                self._ramp_down(state.END_FAULT, code)
                return
            if now == state.STOPPING:
                if not w[at.AFTER]:
                    _report(w, self.event_words, self.log.words, code, self.sense.values[sense.MERGED])
                    w[at.AFTER] = code
                    w[at.END_REASON] = state.END_FAULT
                    w[at.END_CODE] = code
                return
            if now == state.READY:
                return  # nothing to stop; guard.block keeps it from arming
        elif now == state.READY and not faults.LATCHED[code]:
            return
        self._cut(code)

    def _cut(self, code):
        # off first, then the books
        w = self.words
        board = self.board
        board.drive(0, 0)
        board.rail(RAIL_OPEN)
        w[at.RAIL] = RAIL_OPEN
        events = self.event_words
        _report(w, events, self.log.words, code, self.sense.values[sense.MERGED])
        _cut_short(w, self.ramp.words, code)
        if not _went(w, events, _ALLOWED, _latch(w, code, faults.LATCHED[code])):
            self._lose_the_way()

    def _begin_check(self, then):
        w = self.words
        w[at.CHECK_THEN] = then
        w[at.RAIL] = RAIL_OPEN
        _off(self.ramp.words)
        self.board.drive(0, 0)
        self.selftest.words[selftest.STEP] = selftest.NEW
        if not _went(w, self.event_words, _ALLOWED, state.CHECK):
            self._lose_the_way()

    def _abandon_check(self):
        w = self.words
        w[at.ANSWER] = faults.NOT_NOW
        self.board.drive(0, 0)
        self._open(state.READY)

    @micropython.native
    def _stopping(self):
        w = self.words
        left = w[at.STOPPING_LEFT] - 1
        w[at.STOPPING_LEFT] = left
        if self.ramp.words[ramp_kernel.DRIVE] == ramp_kernel.BIAS or left <= 0:
            self._stopped()

    @micropython.native
    def _checking(self, now):
        w = self.words
        if now == state.CHECK:
            check = self.selftest
            if check.words[selftest.STEP] == selftest.NEW:
                limits = self.limits
                flags = limits.flags
                if w[at.CHECK_THEN] == state.ARMED:
                    flags |= selftest.TO_ARM
                sound = 0 if self.calibration.damaged else 1
                check.start(sound, flags, limits.supply_min_mv, limits.supply_max_mv)
            elif check.next_tick():
                self._checked()
            elif check.words[selftest.DID]:
                w[at.BUSY] = 1  # lamp and warnings wait for a tick that has less to do
        elif not w[at.UNASKED]:  # off
            self._begin_check(state.READY)

    def _checked(self):
        w = self.words
        code = self.selftest.words[selftest.CODE]
        if code:
            if faults.SEVERITY[code] >= faults.STOP:
                self._cut(code)
                return
            if faults.SEVERITY[code] == faults.WARN:
                code = 0
        w[at.ANSWER] = code
        if code or w[at.CHECK_THEN] == state.READY:
            self._open(state.READY)
        else:
            w[at.RAIL] = RAIL_CLOSED
            self.guard.fresh()
            self.guard.own_words[guard.SILENT] = 0
            self._move(state.ARMED)

    def _open(self, new):
        # take the supply away from the bridge, which is off or at zero, and go to `new`
        w = self.words
        w[at.RAIL] = RAIL_OPEN
        self.board.rail(RAIL_OPEN)
        if not _went(w, self.event_words, _ALLOWED, new):
            self._lose_the_way()

    def _move(self, new):
        if not _went(self.words, self.event_words, _ALLOWED, new):
            self._lose_the_way()

    def _lose_the_way(self):
        # a mistake of ours: no transition leads there
        w = self.words
        old = w[at.STATE]
        w[at.FAULT] = w[at.END_CODE] = faults.INTERNAL
        w[at.END_REASON] = state.END_FAULT
        self.ramp.cut()
        _wound_down(w, self.ramp.words)
        self.board.drive(0, 0)
        self.board.rail(RAIL_OPEN)
        w[at.RAIL] = RAIL_OPEN
        w[at.STATE] = state.LATCHED
        self._tell(state.EVENT_STATE, state.LATCHED, old, 0)

    def _tell(self, kind, code, index, detail):
        _put_event(self.words, self.event_words, kind, code, index, detail)

"""How the bench changes its state: what the host asked, ends of runs, checks, faults. Part of the tick.

Everything here runs inside ``App.tick`` and allocates nothing; state.py has the table of transitions.
"""

from strokefw import faults, guard_current, ramp, ramp_kernel, row, sense, state
from strokefw.compat import const, micropython

RAIL_OPEN = const(0)
RAIL_CLOSED = const(2)
TELL_SLOTS = const(64)
_TELL_MASK = const(63)
# places in the arrays of sense, guard_current and ramp_kernel; a test compares
_MERGED = const(13)
_CAP = const(7)
_SLEW_DOWN = const(9)
_DRIVE = const(8)
_BIAS = const(1 << 29)
PLACES = (
    (_MERGED, sense.MERGED), (_CAP, guard_current.CAP), (_SLEW_DOWN, guard_current.SLEW_DOWN),
    (_DRIVE, ramp_kernel.DRIVE), (_BIAS, ramp_kernel.BIAS),
)  # fmt: skip

_put_event = row.tell


class Moves:
    """The half of App that moves between states; its attributes are App's."""

    # -- what the host asked for -------------------------------------------------------------------

    def _asked(self):
        ask = self.ask
        self.ask = state.ASK_NONE
        now = self.state
        code = faults.NOT_NOW
        if ask == state.ASK_DISARM:
            code = self._disarm(now)
        elif ask == state.ASK_SESSION:
            code = self._new_session(now)
        elif ask == state.ASK_CLEAR:
            code = self._clear(now)
        elif now == state.LATCHED:
            code = faults.FAULT_LATCHED
        elif ask == state.ASK_ARM or ask == state.ASK_CHECK:
            if now == state.READY or (now == state.CHECK and self.check_then == state.READY):
                code = self.guard.block if ask == state.ASK_ARM else 0
                if not code:
                    self._begin_check(state.ARMED if ask == state.ASK_ARM else state.READY)
                    code = state.ANSWER_PENDING
        elif ask == state.ASK_RUN and now == state.ARMED:
            self.ramp.start()
            code = self._go()
        elif ask == state.ASK_JOG and now == state.ARMED:
            self.ramp.jog(self.ask_value)
            code = self._go()
        elif ask == state.ASK_JOG and now == state.DRIVING and self.ramp.mode == ramp.JOG:
            self.ramp.jog(self.ask_value)
            code = 0
        self.answer = code

    @micropython.native
    def _go(self):
        if self.tail:
            self.tail = 0
            self._tell(state.EVENT_RUN_END, self.end_reason, 0, self.end_code)
        self.running = 1
        self.after = self.disarm_after = 0
        self._move(state.DRIVING)
        return 0

    def _disarm(self, now):
        if now == state.ARMED:
            self._open(state.READY)
        elif now == state.CHECK:
            self._abandon_check()
        elif now == state.DRIVING or now == state.STOPPING:
            self.disarm_after = 1
            if now == state.DRIVING:
                self._ramp_down(state.END_STOPPED, 0)
        return 0

    def _new_session(self, now):
        # what an earlier host left behind ends at once, and its end is not told to the new one
        self.disarm_after = 1
        if now == state.DRIVING:
            self._ramp_down(state.END_STOPPED, 0)
        if self.state == state.STOPPING:
            self._stopped()
        elif now == state.ARMED:
            self._open(state.READY)
        elif now == state.CHECK:
            self._abandon_check()
        self.disarm_after = 0
        self.tail = 0
        return 0

    def _clear(self, now):
        if now != state.LATCHED:
            return 0
        if self.guard.block:
            return faults.FAULT_LATCHED
        self.fault = 0
        self.guard.fresh()
        self._move(state.READY)
        return 0

    def _stop(self):
        how = self.stop_ask
        self.stop_ask = 0
        ask = self.ask
        if ask == state.ASK_ARM or ask == state.ASK_RUN or ask == state.ASK_JOG or ask == state.ASK_CHECK:
            # what was asked before the stop does not begin after it
            self.answer = faults.NOT_NOW
            self.ask = state.ASK_NONE
        if self.state == state.CHECK:
            self._abandon_check()
            return
        if self.state == state.DRIVING:
            self._ramp_down(state.END_STOPPED, 0)
        if self.state == state.STOPPING and how == state.STOP_NOW:
            self._stopped()

    # -- what follows from a step, a check, a fault ------------------------------------------------

    @micropython.native
    def _followed(self, told):
        player = self.ramp
        if told & ramp.FIRED:
            action = player.watch_action if told & ramp.ENDED else 0
            self._tell(state.EVENT_WATCH, action, player.last_index, 0)
        if told & ramp.BEGAN:
            self._tell(state.EVENT_SEGMENT, player.words[1], player.index, 0)  # 1: ramp_kernel.KIND
        if player.trigger:
            player.trigger = 0
            self.capture_tick = self.ticks
            self.board.burst_trigger()
        if told & ramp.ENDED:
            self._ramp_down(state.END_WATCH if told & ramp.FIRED else state.END_DONE, 0)
            bounds = self.guard.current_words
            player.step(self.sense.values, bounds[_CAP], bounds[_SLEW_DOWN])
            if player.words[_DRIVE] == _BIAS:
                self._stopped()

    @micropython.native
    def _ramp_down(self, reason, code):
        self.end_reason = reason
        self.end_code = code
        self.after = code
        self.stopping_left = state.STOPPING_MAX_MS
        self.ramp.down()
        self._move(state.STOPPING)

    @micropython.native
    def _stopped(self):
        # at zero, or cut to it: where the ramp-down was to end
        code = self.after
        self.after = 0
        self.ramp.cut()
        self._end_run()
        if code:
            self._open(self._latch(code))
        elif self.disarm_after:
            self._open(state.READY)
        else:
            self._move(state.ARMED)
        self.disarm_after = 0

    def armed(self):
        """Return true while the bridge's supply is or is about to be closed (service side)."""
        now = self.state
        return state.ARMED <= now <= state.STOPPING or (now == state.CHECK and self.check_then == state.ARMED)

    @micropython.native
    def _end_run(self):
        if self.running:
            self.running = 0
            self.tail = state.TAIL_MS

    def _latch(self, code):
        if faults.LATCHED[code]:
            self.fault = code
            return state.LATCHED
        return state.READY

    def _protect(self, code):
        severity = faults.SEVERITY[code]
        now = self.state
        if severity < faults.STOP or now == state.LATCHED or now == state.OFF:
            return
        if now == state.CHECK:  # the check judges by its own rules, but for what is dangerous in any state
            if code != faults.ESTOP and code != faults.SUPPLY_HIGH:
                return
        elif severity == faults.STOP:
            if now == state.DRIVING:
                self._report(code)
                self._ramp_down(state.END_FAULT, code)
                return
            if now == state.STOPPING:
                if not self.after:
                    self._report(code)
                    self.after = code
                    self.end_reason = state.END_FAULT
                    self.end_code = code
                return
            if now == state.READY:
                return  # nothing to stop; guard.block keeps it from arming
        elif now == state.READY and not faults.LATCHED[code]:
            return
        self._cut(code)

    @micropython.native
    def _cut(self, code):
        self._report(code)
        self.ramp.cut()
        if self.running:
            self.end_reason = state.END_FAULT
            self.end_code = code
            self._end_run()
        self.after = self.disarm_after = 0
        if self.state == state.CHECK:
            self.answer = code
        self._open(self._latch(code))

    @micropython.native
    def _report(self, code):
        current_ma = self.sense.values[_MERGED]
        self._tell(state.EVENT_FAULT, code, 0, current_ma)
        self.log.add(self.ticks, state.EVENT_FAULT, code, current_ma)

    @micropython.native
    def _begin_check(self, then):
        self.check_then = then
        self.rail = RAIL_OPEN
        self.ramp.cut()
        self.board.drive(0, 0)
        limits = self.limits
        self.selftest.start(
            0 if self.calibration.damaged else 1, limits.flags, limits.supply_min_mv, limits.supply_max_mv
        )
        self._move(state.CHECK)

    def _abandon_check(self):
        self.answer = faults.NOT_NOW
        self._open(state.READY)

    def _check(self):
        if not self.selftest.step():
            return
        code = self.selftest.code
        if code and faults.SEVERITY[code] >= faults.STOP:
            self._cut(code)
            return
        if faults.SEVERITY[code] == faults.WARN:
            code = 0
        self.answer = code
        if code or self.check_then == state.READY:
            self._open(state.READY)
        else:
            self.rail = RAIL_CLOSED
            self.guard.fresh()
            self.guard.silent_ms = 0
            self._move(state.ARMED)

    @micropython.native
    def _open(self, new):
        # take the bridge's supply away and go to `new`
        self.rail = RAIL_OPEN
        self.board.drive(0, 0)
        self.board.rail(RAIL_OPEN)
        self._move(new)

    @micropython.native
    def _move(self, new):
        old = self.state
        if old == new:
            return
        if not state.ALLOWED[old] >> new & 1:
            new = state.LATCHED
            self.fault = self.end_code = faults.INTERNAL
            self.end_reason = state.END_FAULT
            self.ramp.cut()
            self._end_run()
            self.board.drive(0, 0)
            self.board.rail(RAIL_OPEN)
            self.rail = RAIL_OPEN
        self.state = new
        self._tell(state.EVENT_STATE, new, old, 0)

    @micropython.native
    def _tell(self, kind, code, index, detail):
        head = self.tell_head
        _put_event(self.told_words, head & _TELL_MASK, self.ticks, kind, code, index, detail)
        self.tell_head = head + 1 if head < 0x3FFFFFFF else 0

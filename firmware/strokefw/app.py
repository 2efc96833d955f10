"""The bench: one control tick, and the link beside it. Knows a board only by its methods.

``tick()`` runs every millisecond (on the chip from a hard timer): scan, sense, guard, state and ramp,
drive, one sample row into the ring. It allocates nothing and is the only place where the state changes.
``service()`` runs in the main loop, may allocate, and asks the tick for what the host wants (``ask``,
``stop_ask``).
"""

import struct
from array import array

from strokefw import channels, faults, ramp, selftest, state, wire
from strokefw.calib import Calibration
from strokefw.compat import const, micropython
from strokefw.events import Ring
from strokefw.guard import Guard
from strokefw.led import pattern
from strokefw.limits import Limits
from strokefw.sense import Sense
from strokefw.service import Service

TICK_US = const(1000)
LATE_US = const(1900)  # from one tick's start to the next: one has been missed
RING_ROWS = const(256)
TELL_SLOTS = const(64)
RAIL_OPEN = const(0)
RAIL_CLOSED = const(2)
_ROW_MASK = const(255)
_TELL_MASK = const(63)

_pack_into = struct.pack_into


class App:
    """A bench on ``board``; see DEVELOPERS for a board's methods. Call ``tick`` and ``service`` in turn."""

    def __init__(self, board):
        self.board = board
        self.counts = array("H", [0] * channels.N_CHANNELS)
        self.calibration = Calibration()
        self.calibration.load(board)
        self.kind = board.kind()
        self.sense = Sense(self.calibration)
        self.guard = Guard(self.sense, self.kind)
        self.selftest = selftest.SelfTest(board, self.sense)
        self.ramp = ramp.Ramp()
        self.limits = Limits()
        self.log = Ring(board)

        self.state = state.OFF
        self.fault = 0  # latched code
        self.shown = 0  # code of the present row
        self.rail = RAIL_OPEN
        self.ticks = 0
        self.overruns = self.tick_max_us = self.trips = 0
        self._began = 0

        self.ask = state.ASK_NONE
        self.ask_value = 0
        self.answer = 0  # result of the last ask, ANSWER_PENDING until there is one
        self.stop_ask = 0
        self.limits_set = 0
        self.check_then = state.READY
        self.after = 0  # fault that the present ramp-down ends in
        self.disarm_after = 0
        self.stopping_left = 0

        self.running = 0  # a run or jog is on, and its rows stream
        self.tail = 0
        self.end_reason = self.end_code = 0
        self.always = 0  # rows stream in every state

        self.ring = bytearray(RING_ROWS * wire.SAMPLE_BYTES)
        self.ring_head = 0  # rows ever put, wraps with TICK_MASK
        self.told = bytearray(TELL_SLOTS * wire.EVENT_BYTES)
        self.tell_head = 0
        self._warned = self._quiet = 0
        self.capture_tick = 0
        self.failed_capture = 0  # 1 + index of a BURST segment whose capture did not come

        self.link = Service(self)
        cause = board.reset_cause()
        self.reset_cause = cause
        self._tell(state.EVENT_BOOT, cause, 0, 0)
        self._log(state.EVENT_BOOT, cause, 0)

    def service(self):
        """Do a bounded piece of link work."""
        self.link.run()

    @micropython.native
    def tick(self):
        """Do one control tick."""
        board = self.board
        began = board.ticks_us()
        late = (began - self._began) & 0x3FFFFFFF
        self._began = began
        tick = (self.ticks + 1) & 0x3FFFFFFF
        self.ticks = tick
        sense = self.sense
        guard = self.guard
        player = self.ramp
        board.scan(self.counts)
        sense.update(self.counts)
        trips = board.trips()
        self.trips += trips
        code = guard.update(player.drive, player.gate, self.rail, trips, board.estop())
        if late > LATE_US and tick > 2:
            self.overruns += 1
            if state.ARMED <= self.state <= state.STOPPING:
                code = faults.TICK_OVERRUN
        if self.stop_ask:
            self._stop()
        if self.ask:
            self._asked()
        if self.state == state.DRIVING and not code:  # in a pause too, where the guard sees the bridge off
            silent = guard.silent_ms
            if silent > guard.heartbeat_ms or (silent > state.JOG_SILENT_MS and player.mode == ramp.JOG):
                code = faults.HEARTBEAT_LOST
        if code:
            self._protect(code)

        now = self.state
        if now == state.DRIVING:
            told = player.step(sense, guard.cap, guard.slew_down)
            if told:
                self._followed(told)
        elif now == state.STOPPING:
            player.step(sense, guard.cap, guard.slew_down)
            self.stopping_left -= 1
            if player.drive == 0 or self.stopping_left <= 0:
                self._stopped()
        elif now == state.CHECK:
            self._check()
        elif now == state.ARMED:
            if guard.silent_ms > state.ARMED_IDLE_MS:
                self._open(state.READY)
        elif now == state.OFF:
            self._begin_check(state.READY)
        if self.state != state.CHECK:
            board.drive(player.drive, player.gate)

        shown = self.fault or self.after or code or guard.warn
        self.shown = shown
        if self.running or self.tail or self.always:
            _pack_into(
                "<IhiHHHHHhhBB", self.ring, (self.ring_head & 255) * 26, tick, player.drive, sense.current_ma,
                sense.bus_mv, sense.leg_a_mv, sense.leg_b_mv, sense.sensor_a_mv, sense.sensor_b_mv,
                sense.heatsink_dc, sense.part_dc, self.state, shown,
            )  # fmt: skip
            self.ring_head = (self.ring_head + 1) & 0x3FFFFFFF
            if self.tail:
                self.tail -= 1
                if self.tail == 0:
                    self._tell(state.EVENT_RUN_END, self.end_reason, 0, self.end_code)
        if tick & 7 == 0:
            board.led(pattern(shown, tick))
            self._seldom(shown)
        spent = (board.ticks_us() - began) & 0x3FFFFFFF
        if spent > self.tick_max_us:
            self.tick_max_us = spent

    def _seldom(self, shown):
        # what may wait some ticks; a condition that comes and goes is not told more often than it can be read
        if self._quiet:
            self._quiet -= 1
        elif shown != self._warned:
            self._warned = shown
            self._quiet = state.WARN_EVERY
            self._tell(state.EVENT_WARNING, shown, 0, 0)
        if self.failed_capture:
            self._tell(state.EVENT_BURST_FAILED, 0, self.failed_capture - 1, 0)
            self.failed_capture = 0

    # -- what the host asked for -------------------------------------------------------------------

    def _asked(self):
        ask = self.ask
        self.ask = state.ASK_NONE
        now = self.state
        code = faults.NOT_NOW
        if ask == state.ASK_DISARM:
            code = self._disarm(now)
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
        if self.ask:  # what was asked before the stop does not begin after it
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

    def _followed(self, told):
        player = self.ramp
        if told & ramp.FIRED:
            action = player.watch_action if told & ramp.ENDED else 0
            self._tell(state.EVENT_WATCH, action, player.last_index, 0)
        if told & ramp.BEGAN:
            self._tell(state.EVENT_SEGMENT, player.kind, player.index, 0)
        if player.trigger:
            player.trigger = 0
            self.capture_tick = self.ticks
            self.board.burst_trigger()
        if told & ramp.ENDED:
            self._ramp_down(state.END_WATCH if told & ramp.FIRED else state.END_DONE, 0)
            player.step(self.sense, self.guard.cap, self.guard.slew_down)
            if player.drive == 0:
                self._stopped()

    def _ramp_down(self, reason, code):
        self.end_reason = reason
        self.end_code = code
        self.after = code
        self.stopping_left = state.STOPPING_MAX_MS
        self.ramp.down()
        self._move(state.STOPPING)

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

    def _report(self, code):
        self._tell(state.EVENT_FAULT, code, 0, self.sense.current_ma)
        self._log(state.EVENT_FAULT, code, self.sense.current_ma)

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

    def _open(self, new):
        # take the bridge's supply away and go to `new`
        self.rail = RAIL_OPEN
        self.board.drive(0, 0)
        self.board.rail(RAIL_OPEN)
        self._move(new)

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

    def _tell(self, kind, code, index, detail):
        at = (self.tell_head & _TELL_MASK) * 12
        _pack_into("<IBBHi", self.told, at, self.ticks, kind, code, index, detail)
        self.tell_head = (self.tell_head + 1) & 0x3FFFFFFF

    def _log(self, kind, code, detail):
        self.log.add(self.ticks, kind, code, detail)

"""The bench: one control tick, and the link beside it. Knows a board only by its methods.

``tick()`` runs every millisecond (on the chip from a hard timer): scan, sense, guard, state and ramp,
drive, one sample row into the ring. It allocates nothing and is the only place where the state changes.
``service()`` runs in the main loop, may allocate, and asks the tick for what the host wants (``ask``,
``stop_ask``).
"""

from array import array

from strokefw import (
    channels,
    faults,
    guard,
    guard_current,
    ramp,
    ramp_kernel,
    row,
    selftest,
    state,
    wire,
)  # fmt: skip
from strokefw.calib import Calibration
from strokefw.compat import const, halfwords, micropython, stack_use
from strokefw.events import Ring
from strokefw.led import pattern
from strokefw.limits import Limits
from strokefw.link_watch import LinkWatch
from strokefw.moves import RAIL_OPEN, TELL_SLOTS, Moves
from strokefw.sense import Sense
from strokefw.service import Service

TICK_US = const(1000)
LATE_US = const(1900)  # from one tick's start to the next: one has been missed
RING_ROWS = const(256)

# names of this module are found faster than those of another, and its constants are folded; a test compares
_CHECK = const(1)
_READY = const(2)
_ARMED = const(3)
_DRIVING = const(4)
_STOPPING = const(5)
_LATCHED = const(6)
_JOG_SILENT_MS = const(500)
_ARMED_IDLE_MS = const(5000)
_JOG = const(2)
_BIAS = const(1 << 29)
_LATCH_FELL = const(1 << 12)
_MODE = const(0)  # in the ramp's words
_DRIVE = const(8)
_GATE = const(9)
_SILENT = const(0)  # in the guard's own
_CAP = const(7)  # in those of the current
_SLEW_DOWN = const(9)
PLACES = (
    (_CHECK, state.CHECK), (_READY, state.READY), (_ARMED, state.ARMED), (_DRIVING, state.DRIVING),
    (_STOPPING, state.STOPPING), (_LATCHED, state.LATCHED), (_JOG_SILENT_MS, state.JOG_SILENT_MS),
    (_ARMED_IDLE_MS, state.ARMED_IDLE_MS), (_JOG, ramp.JOG), (_BIAS, ramp_kernel.BIAS),
    (_MODE, ramp_kernel.MODE), (_DRIVE, ramp_kernel.DRIVE), (_GATE, ramp_kernel.GATE),
    (_SILENT, guard.SILENT), (_CAP, guard_current.CAP), (_SLEW_DOWN, guard_current.SLEW_DOWN),
    (_LATCH_FELL, channels.LATCH_FELL),
)  # fmt: skip


class App(Moves):
    """A bench on ``board``; see DEVELOPERS for a board's methods. Call ``tick`` and ``service`` in turn."""

    def __init__(self, board):
        self.board = board
        self.counts = array("H", [0] * channels.N_CHANNELS)
        self.calibration = Calibration()
        self.calibration.load(board)
        self.kind = board.kind()
        self.sense = Sense(self.calibration, self.kind)
        self.guard = guard.Guard(self.sense, self.kind)
        self.selftest = selftest.SelfTest(board, self.sense, self.kind)
        self.ramp = ramp.Ramp()
        self.limits = Limits()
        self.log = Ring(board)

        self.state = state.OFF
        self.fault = 0  # latched code
        self.shown = 0  # code of the present row
        self.rail = RAIL_OPEN
        self.ticks = 0
        self.overruns = self.tick_max_us = self.trips = 0
        self.busy_us = 0  # sum of all ticks, wraps
        self.stack_max = 0  # deepest stack met in a tick (one in eight is looked at)
        self._began = 0

        self.alive = 0  # set by the service; counts down every four ticks

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
        self.told_words = halfwords(self.told)
        self.tell_head = 0
        self._warned = self._quiet = 0
        self.capture_tick = 0
        self.failed_capture = 0  # 1 + index of a BURST segment whose capture did not come

        self.link = Service(self)
        cause = board.reset_cause()
        self.reset_cause = cause
        self.link_watch = LinkWatch(cause)
        self._tell(state.EVENT_BOOT, cause, 0, 0)
        self.log.add(self.ticks, state.EVENT_BOOT, cause, 0)
        self.tick = _ticker(self)

    def service(self):
        """Do a bounded piece of link work."""
        self.link.run()

    @micropython.native
    def _seldom(self, shown, tick):
        # what may wait some ticks; a condition that comes and goes is not told more often than it can be read
        self.board.led(pattern(shown, tick))
        depth = stack_use()
        if depth > self.stack_max:
            self.stack_max = depth
        if self._quiet:
            self._quiet -= 1
        elif shown != self._warned:
            self._warned = shown
            self._quiet = state.WARN_EVERY
            self._tell(state.EVENT_WARNING, shown, 0, 0)
        if self.failed_capture:
            self._tell(state.EVENT_BURST_FAILED, 0, self.failed_capture - 1, 0)
            self.failed_capture = 0


def _ticker(app):
    # what ``tick`` needs, as locals: see compat.py on the cost of names
    board = app.board
    guard = app.guard
    needs = (
        app, guard, app.sense, app.counts, app.sense.values, guard.own_words, guard.current_words,
        app.ramp.words, halfwords(app.ring), app.sense.update, guard.update, app.ramp.step, row.put,
        board.ticks_us, board.scan, board.trips, board.estop, board.drive, board.watchdog,
    )  # fmt: skip

    @micropython.native
    def tick(needs=needs):
        """Do one control tick."""
        (
            app, guard, sense, counts, values, watched, bounds, played, ring, sensed, guarded, step, put_row,
            ticks_us, scan, take_trips, estop, drive, feed,
        ) = needs  # fmt: skip
        began = ticks_us()
        late = (began - app._began) & 0x3FFFFFFF
        app._began = began
        tick = app.ticks
        tick = tick + 1 if tick < 0x3FFFFFFF else 0  # never 2^30, which would need the heap
        app.ticks = tick
        scan(counts)
        sensed(counts)
        trips = take_trips()
        if trips:
            app.trips += trips & (_LATCH_FELL - 1)
        code = guarded(played[_DRIVE] - _BIAS, played[_GATE], app.rail, trips, estop())
        now = app.state
        if late > LATE_US and tick > 2:
            app.overruns += 1
            if _ARMED <= now <= _STOPPING:
                code = faults.TICK_OVERRUN
        if app.stop_ask:
            app._stop()
            now = app.state
        if app.ask:
            app._asked()
            now = app.state
        if now == _DRIVING and not code:  # in a pause too, where the guard sees the bridge off
            silent = watched[_SILENT]
            if silent > guard.heartbeat_ms or (silent > _JOG_SILENT_MS and played[_MODE] == _JOG):
                code = faults.HEARTBEAT_LOST
        if code:
            app._protect(code)
            now = app.state

        if now == _READY or now == _LATCHED:
            pass
        elif now == _DRIVING:
            told = step(values, bounds[_CAP], bounds[_SLEW_DOWN])
            if told:
                app._followed(told)
                now = app.state
        elif now == _ARMED:
            if watched[_SILENT] > _ARMED_IDLE_MS:
                app._open(_READY)
                now = app.state
        elif now == _STOPPING:
            step(values, bounds[_CAP], bounds[_SLEW_DOWN])
            left = app.stopping_left - 1
            app.stopping_left = left
            if played[_DRIVE] == _BIAS or left <= 0:
                app._stopped()
                now = app.state
        else:
            if now == _CHECK:
                app._check()
            else:
                app._begin_check(_READY)
            now = app.state
        if now != _CHECK:
            drive(played[_DRIVE] - _BIAS, played[_GATE])

        shown = app.fault or app.after or code or guard.warn or app.link_watch.code
        app.shown = shown
        if app.running or app.tail or app.always:
            head = app.ring_head
            put_row(
                ring, head & 255, values, tick, played[_DRIVE] - _BIAS,
                sense.heatsink_dc, sense.part_dc, now | shown << 8,
            )  # fmt: skip
            app.ring_head = head + 1 if head < 0x3FFFFFFF else 0
            if app.tail:
                app.tail -= 1
                if app.tail == 0:
                    app._tell(state.EVENT_RUN_END, app.end_reason, 0, app.end_code)
        if tick & 3 == 2:
            # The board's watchdog waits 10 ms only, and collecting garbage keeps the main loop away for 25:
            # so the tick feeds it, as long as that loop was there lately.
            alive = app.alive
            if alive:
                app.alive = alive - 1
                feed()
        elif tick & 7 == 5:
            app._seldom(shown, tick)
        spent = (ticks_us() - began) & 0x3FFFFFFF
        app.busy_us = (app.busy_us + spent) & 0x3FFFFFFF
        if spent > app.tick_max_us:
            app.tick_max_us = spent

    return tick

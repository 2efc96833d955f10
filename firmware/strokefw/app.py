"""The bench: one control tick, and the link beside it. Knows a board only by its methods.

``tick()`` runs every millisecond (on the chip from a hard timer): scan, sense, guard, state and ramp,
drive, one sample row into the ring. It allocates nothing and is the only place where the state changes.
``service()`` runs in the main loop, may allocate, and asks the tick for what the host wants (``ask``,
``stop_ask``).
"""

from array import array

from strokefw import channels, faults, state
from strokefw.compat import halfwords, keep_bound, micropython, stack_use, word
from strokefw.drive import kernel as ramp_kernel
from strokefw.drive import ramp
from strokefw.guard import current as guard_current
from strokefw.guard import guards as guard
from strokefw.link import wire
from strokefw.link.service import Service
from strokefw.link.watch import LinkWatch
from strokefw.sensing.calib import Calibration
from strokefw.sensing.sense import Sense
from strokefw.tick import kernel as at
from strokefw.tick import selftest
from strokefw.tick.events import Ring
from strokefw.tick.transitions import Transitions


class App(Transitions):
    """A bench on ``board`` (its methods: host link/board.py). Call ``tick`` and ``service`` in turn."""

    ticks = word(at.TICKS)
    busy_us = word(at.BUSY_US)
    tick_max_us = word(at.MAX_US)
    overruns = word(at.OVERRUNS)
    state = word(at.STATE)
    rail = word(at.RAIL)
    stop_ask = word(at.STOP_ASK)
    ask = word(at.ASK)
    fault = word(at.FAULT)
    after = word(at.AFTER)
    shown = word(at.SHOWN)
    running = word(at.RUNNING)
    tail = word(at.TAIL)
    always = word(at.ALWAYS)
    ring_head = word(at.RING_HEAD)
    alive = word(at.ALIVE)
    trips = word(at.TRIPS)
    tell_head = word(at.TELL_HEAD)
    check_then = word(at.CHECK_THEN)
    answer = word(at.ANSWER)
    capture_tick = word(at.CAPTURE_TICK)

    def __init__(self, board):
        self.board = board
        self.counts = array("H", [0] * channels.N_CHANNELS)
        self.calibration = Calibration()
        self.calibration.load(board)
        self.kind = board.kind()
        self.sense = Sense(self.calibration, self.kind)
        self.guard = guard.Guard(self.sense, self.kind, board)
        self.selftest = selftest.SelfTest(board, self.sense, self.kind)
        self.ramp = ramp.Ramp()
        self.limits = wire.Limits()
        self.log = Ring(board)

        self.words = array("i", [0] * at.WORDS)  # places in tick/kernel.py; 0 is off, open, none
        self.stack_max = 0  # deepest stack met in a tick (one in eight is looked at)
        self.ask_value = 0
        self.limits_set = 0
        self.check_then = state.READY

        self.ring = bytearray(state.RING_ROWS * wire.SAMPLE_BYTES)
        self.event_ring = bytearray(state.TELL_SLOTS * wire.EVENT_BYTES)
        self.event_words = halfwords(self.event_ring)
        self.failed_capture = 0  # 1 + index of a BURST segment whose capture did not come

        self.link = Service(self)
        cause = board.reset_cause()
        self.reset_cause = cause
        self.link_watch = LinkWatch(cause, self.words, at.LINK_CODE)
        self._tell(state.EVENT_BOOT, cause, 0, 0)
        self.log.add(self.ticks, state.EVENT_BOOT, cause, 0)
        keep_bound(
            self, "_heeded", "_followed", "_stopping", "_checking", "_due", "_seldom", "_go", "_ramp_down",
            "_stopped", "_protect", "_cut", "_begin_check", "_open", "_move",
            "_tell", "_asked", "_stop", "_checked", "_disarm", "_clear", "_new_session", "_abandon_check",
        )  # fmt: skip
        self.tick = _ticker(self)

    def service(self):
        """Do a bounded piece of link work."""
        self.link.run()

    @micropython.native
    def _due(self, due):
        if due & at.TAIL_OVER:
            w = self.words
            self._tell(state.EVENT_RUN_END, w[at.END_REASON], 0, w[at.END_CODE])
        if due & at.SELDOM:
            self._seldom()

    @micropython.native
    def _seldom(self):
        # what may wait some ticks; a condition that comes and goes is not told more often than it can be read
        w = self.words
        shown = w[at.SHOWN]
        self.board.led(faults.lamp(shown, w[at.TICKS]))
        depth = stack_use()
        if depth > self.stack_max:
            self.stack_max = depth
        if w[at.QUIET]:
            w[at.QUIET] -= 1
        elif shown != w[at.WARNED]:
            w[at.WARNED] = shown
            w[at.QUIET] = state.WARN_EVERY
            self._tell(state.EVENT_WARNING, shown, 0, 0)
        if self.failed_capture:
            self._tell(state.EVENT_BURST_FAILED, 0, self.failed_capture - 1, 0)
            self.failed_capture = 0


def _ticker(app):
    # what ``tick`` needs, as locals: see compat.py on the cost of names
    board = app.board
    guards = app.guard
    needs = (
        app, app.words, app.counts, app.sense.values, guards.own_words, guards.current_words, app.ramp.words,
        halfwords(app.ring), app.sense.update, guards.update, app.ramp.step, board.ticks_us, board.scan,
        board.trips, board.estop, board.drive, board.watchdog, at.begin, at.heed, at.close, at.end,
    )  # fmt: skip

    @micropython.native
    def tick(needs=needs):
        """Do one control tick."""
        (
            app, w, counts, values, watched, bounds, played, ring, sensed, guarded, step, ticks_us, scan,
            take_trips, estop, drive, feed, begin, heed, close, end,
        ) = needs  # fmt: skip
        late = begin(w, ticks_us())
        scan(counts)
        sensed(counts)
        trips = take_trips()
        code = guarded(
            played[ramp_kernel.DRIVE] - ramp_kernel.BIAS, played[ramp_kernel.GATE], w[at.RAIL], trips, estop()
        )
        now = w[at.STATE]
        if heed(w, watched, played, code, trips, late):
            before = now
            code = app._heeded(code, trips, late)
            now = w[at.STATE]
            if now != before and (now == state.DRIVING or now == state.CHECK):
                now = state.READY  # what was asked for begins with the next tick
        if now == state.DRIVING:
            happened = step(values, bounds[guard_current.CAP], bounds[guard_current.SLEW_DOWN])
            if happened:
                app._followed(happened)
        elif now == state.ARMED:
            if watched[guard.SILENT] > state.ARMED_IDLE_MS:
                app._open(state.READY)
        elif now == state.STOPPING:
            step(values, bounds[guard_current.CAP], bounds[guard_current.SLEW_DOWN])
            app._stopping()
        elif now < state.READY:
            app._checking(now)
            now = w[at.STATE]
        if now != state.CHECK:
            drive(played[ramp_kernel.DRIVE] - ramp_kernel.BIAS, played[ramp_kernel.GATE])

        due = close(w, values, ring, played, watched, code)
        if due:
            if due & at.FEED:
                feed()
            if due != at.FEED:
                app._due(due)
        end(w, ticks_us())

    return tick

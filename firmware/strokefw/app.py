"""The bench: one control tick, and the link beside it. Knows a board only by its methods.

``tick()`` runs every millisecond (on the chip from a hard timer): scan, sense, guard, state and ramp,
drive, one sample row into the ring. It allocates nothing and is the only place where the state changes.
``service()`` runs in the main loop, may allocate, and asks the tick for what the host wants (``ask``,
``stop_ask``).
"""

from array import array

from strokefw import channels, faults, state
from strokefw.compat import halfwords, keep_bound, micropython, ptr32, word
from strokefw.drive import kernel as ramp_kernel
from strokefw.drive import ramp
from strokefw.guard import current as guard_current
from strokefw.guard import guards as guard
from strokefw.link import wire
from strokefw.link.service import Service
from strokefw.link.watch import LinkWatch
from strokefw.sensing import sense
from strokefw.sensing.calib import Calibration
from strokefw.tick import kernel as at
from strokefw.tick import selftest
from strokefw.tick.events import Ring
from strokefw.tick.transitions import Transitions

_begin = at.begin
_convert = sense.convert
_watched = guard.watched
_is_released = guard.is_released
_worst = guard.worst
_heed = at.heed
_look = ramp_kernel.look
_advance = ramp_kernel.advance
_close = at.close
_end = at.end


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
        self.sense = sense.Sense(self.calibration, self.kind)
        self.guard = guard.Guard(self.sense, self.kind, board)
        self.selftest = selftest.SelfTest(board, self.sense, self.kind)
        self.ramp = ramp.Ramp()
        self.limits = wire.Limits()
        self.log = Ring(board)

        self.words = array("i", [0] * at.WORDS)  # places in tick/kernel.py; 0 is off, open, none
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
        self.words[at.UNASKED] = cause == state.RESET_WATCHDOG  # nothing is pulsed until somebody asks
        self.link_watch = LinkWatch(cause, self.words, at.LINK_CODE)
        self._tell(state.EVENT_BOOT, cause, 0, 0)
        self.log.add(self.ticks, state.EVENT_BOOT, cause, 0)
        keep_bound(
            self, "_seldom", "_go", "_ramp_down", "_stopped", "_protect", "_cut", "_begin_check", "_open",
            "_move", "_tell", "_asked", "_stop", "_checked", "_disarm", "_clear", "_new_session",
            "_abandon_check",
        )  # fmt: skip
        self.tick = _ticker(self)

    def stood_still(self):
        """The board held no ticks for a while: none is missed, and the clock goes on (service side)."""
        w = self.words
        now_us = self.board.ticks_us()
        passed = ((now_us - w[at.BEGAN]) & state.TICK_MASK) // state.TICK_US
        w[at.TICKS] = (w[at.TICKS] + passed) & state.TICK_MASK
        w[at.BEGAN] = now_us

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

    def _seldom(self):
        # what may wait some ticks; a condition that comes and goes is not told more often than it can be read
        w = self.words
        shown = w[at.SHOWN]
        self.board.led(faults.lamp(shown, w[at.TICKS]))
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
    # What ``tick`` needs, in one tuple: see compat.py on the cost of names. On the chip the kernels that it
    # calls are a part of it, see the host's image/merge.py.
    board = app.board
    sensed = app.sense
    guards = app.guard
    others = (
        sensed.words, app.counts, guards.own_words, guards.current_words, guards.volt_words,
        guards.junction.words, guards.budgets.words, app.ramp.words, halfwords(app.ring), guards.turns,
        board.ticks_us, board.scan, board.trips, board.estop, board.drive, board.watchdog, app.ramp.turn,
        app._heeded, app._followed, app._stopping, app._checking, app._open, app._due,
    )  # fmt: skip
    needs = sensed.values, app.words, others

    @micropython.viper
    def tick():
        """Do one control tick."""
        v = ptr32(needs[0])  # the first locals have registers
        w = ptr32(needs[1])
        (
            sense_words, counts, own_words, current_words, volt_words, junction_words, spent_words,
            ramp_words, rows, turns, ticks_us, scan, take_trips, estop, drive, feed, turn_segment, heeded,
            followed, stopping, checking, open_to, settle,
        ) = needs[2]  # fmt: skip
        own = ptr32(own_words)
        bounds = ptr32(current_words)
        played = ptr32(ramp_words)
        late = int(_begin(w, int(ticks_us())))
        scan(counts)
        _convert(counts, sense_words, v)
        trips = int(take_trips())
        speed = played[ramp_kernel.DRIVE] - ramp_kernel.BIAS
        gate = played[ramp_kernel.GATE]
        rail = w[at.RAIL]
        found = int(
            _watched(own, bounds, v, volt_words, junction_words, spent_words, speed, gate, rail, trips)
        )
        turn = found >> guard.TURN_SHIFT
        if (guard.TURNS_USED >> turn) & 1:
            turns[turn]()
        stop = int(estop())
        released = int(_is_released(own, stop))
        if released:
            turns[guard.FORBID]()
        code = int(_worst(own, found, stop))
        now = w[at.STATE]
        more = int(_heed(w, own, played, code, trips, late))
        if more:
            before = now
            code = int(heeded(code, trips, late))
            now = w[at.STATE]
            if now != before and (now == state.DRIVING or now == state.CHECK):
                now = state.READY  # what was asked for begins with the next tick
        if now == state.DRIVING or now == state.STOPPING:
            happened = int(_look(played, v))
            if happened:
                happened = int(turn_segment(happened))
                followed(happened)
            if happened & ramp.ENDED == 0 or played[ramp_kernel.DRIVE] != ramp_kernel.BIAS:
                _advance(played, bounds[guard_current.CAP], bounds[guard_current.SLEW_DOWN])
            if now == state.STOPPING:
                stopping()
        elif now == state.ARMED:
            if own[guard.SILENT] > state.ARMED_IDLE_MS:
                open_to(state.READY)
        elif now < state.READY:
            checking(now)
            now = w[at.STATE]
        if now != state.CHECK:
            drive(played[ramp_kernel.DRIVE] - ramp_kernel.BIAS, played[ramp_kernel.GATE])
        due = int(_close(w, v, rows, played, own, code))
        if due & at.FEED:
            feed()
        if due & (at.TAIL_OVER | at.SELDOM):
            settle(due)
        _end(w, int(ticks_us()))

    return tick

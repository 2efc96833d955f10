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
from strokefw.link_watch import LinkWatch
from strokefw.moves import RAIL_OPEN, TELL_SLOTS, Moves
from strokefw.sense import Sense
from strokefw.service import Service

TICK_US = const(1000)
LATE_US = const(1900)  # from one tick's start to the next: one has been missed
RING_ROWS = const(256)

_pack_into = struct.pack_into
_CHECK = state.CHECK  # names of this module are found faster than those of another
_ARMED = state.ARMED
_DRIVING = state.DRIVING
_STOPPING = state.STOPPING
_JOG_SILENT_MS = state.JOG_SILENT_MS
_JOG = ramp.JOG


class App(Moves):
    """A bench on ``board``; see DEVELOPERS for a board's methods. Call ``tick`` and ``service`` in turn."""

    def __init__(self, board):
        self.board = board
        self.counts = array("H", [0] * channels.N_CHANNELS)
        self.calibration = Calibration()
        self.calibration.load(board)
        self.kind = board.kind()
        self.sense = Sense(self.calibration, self.kind)
        self.guard = Guard(self.sense, self.kind)
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
        self.link_watch = LinkWatch(cause)
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
        tick = self.ticks
        tick = tick + 1 if tick < 0x3FFFFFFF else 0  # never 2^30, which would need the heap
        self.ticks = tick
        sense = self.sense
        guard = self.guard
        player = self.ramp
        board.scan(self.counts)
        sense.update(self.counts)
        trips = board.trips()
        if trips:
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
        if self.state == _DRIVING and not code:  # in a pause too, where the guard sees the bridge off
            silent = guard.silent_ms
            if silent > guard.heartbeat_ms or (silent > _JOG_SILENT_MS and player.mode == _JOG):
                code = faults.HEARTBEAT_LOST
        if code:
            self._protect(code)

        now = self.state
        if now == _DRIVING:
            told = player.step(sense, guard.cap, guard.slew_down)
            if told:
                self._followed(told)
        elif now == _STOPPING:
            player.step(sense, guard.cap, guard.slew_down)
            self.stopping_left -= 1
            if player.drive == 0 or self.stopping_left <= 0:
                self._stopped()
        elif now == _CHECK:
            self._check()
        elif now == _ARMED:
            if guard.silent_ms > state.ARMED_IDLE_MS:
                self._open(state.READY)
        elif now == state.OFF:
            self._begin_check(state.READY)
        if self.state != _CHECK:
            board.drive(player.drive, player.gate)

        shown = self.fault or self.after or code or guard.warn or self.link_watch.code
        self.shown = shown
        if self.running or self.tail or self.always:
            v = sense.values  # by number, see sense.py: merged current, bus, legs, sensors
            _pack_into(
                "<IhiHHHHHhhBB", self.ring, (self.ring_head & 255) * 26, tick, player.drive, v[13],
                v[2], v[4], v[5], v[14], v[15], sense.heatsink_dc, sense.part_dc, self.state, shown,
            )  # fmt: skip
            head = self.ring_head
            self.ring_head = head + 1 if head < 0x3FFFFFFF else 0
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

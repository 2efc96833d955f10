"""The link's slow side: takes bytes in, hands requests to requests.py, and sends what there is to send.

One ``run()`` does a bounded piece: at most one buffer of bytes in and ``SENDS_MAX`` frames out, so a host
that floods it costs the main loop's time only. Requests are obeyed even while the host reads nothing (a
stop must get through); then replies are dropped and counted, and the sample ring overwrites its oldest
rows, which is counted too. Replies go first, then events, samples, burst data, the endless stream. A run's
end event waits until its rows and bursts are out.
"""

import struct

from strokefw import state
from strokefw.compat import const, heap_free
from strokefw.link import requests, wire
from strokefw.link.burst import BurstSender

IN_BYTES = const(256)
SENDS_MAX = const(4)
ALIVE = const(25)  # times four ticks without this loop, then the tick lets the watchdog starve; see app.py
ANSWERS_MAX = const(2)  # of them: a host that asks without end leaves room for samples
REPLIES_MAX = const(8)
RING_KEPT = const(state.RING_ROWS - 1)  # the oldest row may be just being overwritten
TELL_KEPT = const(state.TELL_SLOTS - 1)
_SAMPLES = wire.ID["samples"]
_EVENT = wire.ID["event"]
_RAW = wire.ID["raw_data"]


class Service:
    """Link of ``app``; ``lost_rows``, ``lost_events``, ``lost_replies`` count what the host missed."""

    def __init__(self, app):
        self.app = app
        self.board = app.board
        self.decoder = wire.Decoder()
        self.burst = BurstSender(app, self)
        self.raw = None  # the endless stream's sender, once a host has asked for one
        self._in = bytearray(IN_BYTES)
        self._raw = bytearray(wire.MAX_RAW)
        self._out = bytearray(wire.MAX_ENCODED + 8)
        self._out_at = self._out_end = 0
        self._replies = []
        self._answers_left = ANSWERS_MAX
        self._seq = 0
        self._last = (0, 0)
        self.deferred = 0  # seq of the request that waits for the tick's answer, 0 none
        self.deferred_kind = 0
        self.row_tail = app.ring_head
        self.tell_tail = app.tell_head
        self._dropped = 0  # rows lost since the last samples message
        self.plant = False  # the laptop's plant is to take the place of the board
        self.plant_kind = 0  # of this kind of bench
        self.lost_rows = self.lost_events = self.lost_replies = 0
        self._keeping = None  # pieces of the log still to be stored
        self._fed_tick = -1
        self._mean_ticks = self._mean_busy = self._heap_free = 0

    def run(self):
        """Do one bounded piece of work; cheap when there is nothing to do."""
        app = self.app
        board = self.board
        app.alive = ALIVE
        if app.ticks != self._fed_tick:
            self._fed_tick = app.ticks
            app.link_watch.look(app.ticks, self.decoder.bad_frames, self.lost_rows + self._overwritten())
        n = board.read(self._in)
        if n:
            for kind, seq, body in self.decoder.feed(bytes(memoryview(self._in)[:n])):
                self._take(kind, seq, body)
        if self.deferred and app.answer != state.ANSWER_PENDING and not app.ask:
            requests.answered(self)
        if app.ramp.capture:
            self.burst.run()
            app.alive = ALIVE  # for it may have collected garbage, and what follows may too
        if app.state in state.AT_REST and not self._keep_log():
            return
        if self._out_end and not self._write():
            return
        sends = SENDS_MAX
        self._answers_left = ANSWERS_MAX
        while sends and self._send():
            sends -= 1

    # -- records -----------------------------------------------------------------------------------

    def keep(self, pieces):
        """Store all of a record: what ``Board.store`` has returned."""
        while self._piece(pieces) is not None:
            pass

    def _keep_log(self):
        # One piece of it a turn, so that requests are heard in between; true when nothing stands against
        # sending: what the log is to remember outlives the power before the host hears of it.
        if self._keeping is None:
            if not self.app.log.unsaved:
                return True
            self._keeping = self.app.log.save()
        safe = self._piece(self._keeping)
        if safe is None:
            self._keeping = None
        return safe is not False

    def _piece(self, pieces):
        # the chip stops while its flash is written: never while something may be driven
        if pieces is None:  # a board that stores at once
            return None
        safe = next(pieces, None)
        self.app.stood_still()
        return safe

    # -- requests ----------------------------------------------------------------------------------

    def _take(self, kind, seq, body):
        # a repeat does nothing twice; hello may begin anew
        if kind != wire.ID["hello"] and (kind, seq) == self._last:
            self.decoder.bad_frames += 1
            return
        self._last = (kind, seq)
        requests.handle(self, kind, seq, body)

    def reply(self, seq, result, detail=0):
        """Queue the plain answer to request ``seq``."""
        self.queue(wire.ID["reply"], seq, wire.pack(wire.ID["reply"], result, detail))

    def queue(self, kind, seq, body):
        """Queue an answer; dropped and counted when the host does not read."""
        if len(self._replies) >= REPLIES_MAX:
            self.lost_replies += 1
        else:
            self._replies.append((kind, seq, body))

    def tick_max_us(self):
        """Return the longest tick since this was last asked."""
        longest = self.app.tick_max_us
        self.app.tick_max_us = 0
        return longest

    def tick_mean_us(self):
        """Return the mean time of a tick since this was last asked."""
        app = self.app
        ticks = (app.ticks - self._mean_ticks) & state.TICK_MASK
        busy_us = (app.busy_us - self._mean_busy) & state.TICK_MASK
        self._mean_ticks = app.ticks
        self._mean_busy = app.busy_us
        return min(busy_us // ticks, 65535) if ticks else 0

    def heap_free(self):
        """Return the bytes free on the heap; counting takes 30 ms, so only when at rest."""
        app = self.app
        if app.state == state.READY and not (app.tail or app.always):
            self._heap_free = heap_free()
        return self._heap_free

    def drop_pending(self):
        """Forget rows and events not sent yet (a new session starts clean)."""
        self.row_tail = self.app.ring_head
        self.tell_tail = self.app.tell_head
        self._dropped = 0
        self.deferred = 0
        if self.raw is not None:
            self.raw.stop()

    def plant_due(self):
        """Return whether the plant is to take over, and the answer that says so is out."""
        return self.plant and not (self._replies or self._out_end)

    # -- sending -----------------------------------------------------------------------------------

    def _send(self):
        # frame and write the next message; 0 when there is none or the link is full
        app = self.app
        if self._replies and self._answers_left:
            self._answers_left -= 1
            kind, seq, body = self._replies.pop(0)
            self._raw[2 : 2 + len(body)] = body
            return self._emit(kind, seq, len(body))
        rows = (app.ring_head - self.row_tail) & state.TICK_MASK
        if self.tell_tail != app.tell_head:
            if not self._holds_event(rows):
                return self._send_event()
            if rows:
                return self._send_rows(rows)
        elif rows >= wire.ROWS_MAX or (rows and not (app.running or app.tail or app.always)):
            return self._send_rows(rows)
        if self.burst.pending:
            n = self.burst.fill(self._raw)
            return self._emit_own(self.burst.kind, n)
        if self.raw is not None and self.raw.rate_hz:
            n = self.raw.fill(self._raw)
            if n:
                return self._emit_own(_RAW, n)
        return 0

    def _holds_event(self, rows):
        # the end of a run is told last
        at = (self.tell_tail & TELL_KEPT) * wire.EVENT_BYTES
        if self.app.event_ring[at + wire.EVENT_KIND_AT] != state.EVENT_RUN_END:
            return False
        return rows or self.burst.pending or self.burst.waiting()

    def _send_event(self):
        app = self.app
        behind = (app.tell_head - self.tell_tail) & state.TICK_MASK
        if behind > TELL_KEPT:
            self.lost_events += behind - TELL_KEPT
            self.tell_tail = (app.tell_head - TELL_KEPT) & state.TICK_MASK
        at = (self.tell_tail & TELL_KEPT) * wire.EVENT_BYTES
        self._raw[2 : 2 + wire.EVENT_BYTES] = memoryview(app.event_ring)[at : at + wire.EVENT_BYTES]
        self.tell_tail = (self.tell_tail + 1) & state.TICK_MASK
        return self._emit_own(_EVENT, wire.EVENT_BYTES)

    def _overwritten(self):
        # rows lost while nothing could be sent, so not counted yet
        behind = (self.app.ring_head - self.row_tail) & state.TICK_MASK
        return behind - RING_KEPT if behind > RING_KEPT else 0

    def _skip_lost(self):
        behind = (self.app.ring_head - self.row_tail) & state.TICK_MASK
        if behind > RING_KEPT:
            lost = behind - RING_KEPT
            self.lost_rows += lost
            self._dropped += lost
            self.row_tail = (self.row_tail + lost) & state.TICK_MASK
            return 1
        return 0

    def _send_rows(self, rows):
        app = self.app
        self._skip_lost()
        first = self.row_tail & RING_KEPT
        n = min(rows, wire.ROWS_MAX, RING_KEPT + 1 - first)  # never across the ring's end
        at = first * wire.SAMPLE_BYTES
        length = n * wire.SAMPLE_BYTES
        self._raw[9 : 9 + length] = memoryview(app.ring)[at : at + length]
        if self._skip_lost():  # the tick came round while we copied: what we hold is torn
            return 1
        struct.pack_into("<IBH", self._raw, 2, self.row_tail, n, min(self._dropped, 65535))
        self._dropped = 0
        self.row_tail = (self.row_tail + n) & state.TICK_MASK
        return self._emit_own(_SAMPLES, 7 + length)

    def _emit_own(self, kind, n):
        self._seq = (self._seq + 1) & 0xFF
        return self._emit(kind, self._seq, n)

    def _emit(self, kind, seq, n):
        raw = self._raw
        raw[0] = kind
        raw[1] = seq
        self._out_at = 0
        self._out_end = wire.close_frame(raw, n + 2, self._out)
        return self._write()

    def _write(self):
        # 1 when the whole frame is out; the port takes it in pieces
        write = self.board.write
        at = self._out_at
        left = self._out_end - at
        while left:
            taken = write(memoryview(self._out)[at:] if at else self._out, left)
            if not taken:
                self._out_at = at
                return 0
            at += taken
            left -= taken
        self._out_end = 0
        return 1

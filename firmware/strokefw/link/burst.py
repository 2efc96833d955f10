"""Captures: starts them on the board when the procedure asks, and sends them out when they are there."""

import struct

from strokefw import channels, state
from strokefw.compat import const
from strokefw.drive import ramp
from strokefw.link import wire

SEND_MS = const(200)  # so long a new capture waits for the last one to be sent, then cuts it
LOST_MS = const(3000)  # a capture that has not come by then never will
_HEAD = wire.ID["burst"]
_DATA = wire.ID["burst_data"]


class BurstSender:
    """Capture in hand: ``pending`` while parts of it are to be sent, ``kind`` of the part filled last."""

    def __init__(self, app, service):
        self.app = app
        self.service = service
        self.kind = _HEAD
        self.pending = 0
        self._head_due = 0
        self._offset = 0
        self._since = 0  # tick of the ask or of the start
        self._asked = 0
        self._untriggered = 0  # with a pre-trigger part, and perhaps not triggered yet
        self._index = self._channel = self._rate = self._count = self._pre = 0

    def run(self):
        """Follow the capture the ramp asks for (call while ``ramp.capture`` is not CAPTURE_NONE)."""
        player = self.app.ramp
        if player.capture == ramp.CAPTURE_ASKED:
            self._start(player)
        elif player.capture == ramp.CAPTURE_RUNNING:
            if self.app.board.burst_ready():
                player.capture = ramp.CAPTURE_DONE
                self.rewind(0)
                self._head_due = 1
            elif self._waited() > LOST_MS:
                self._fail(player)

    def waiting(self):
        """Return true while a capture is still to come (a run's end is told after it)."""
        if self.app.ramp.capture != ramp.CAPTURE_RUNNING:
            return False
        if self._untriggered and not self.app.running:
            self._untriggered = 0
            self.app.board.burst_trigger()  # the run ended first: take what there is
        return True

    def rewind(self, offset):
        """Send again from value ``offset``; return false when there is no such value to send."""
        if not self._count or offset >= self._count:
            return False
        self._offset = offset
        self.pending = 1
        return True

    def fill(self, raw):
        """Put the next body into ``raw`` from 2 on, set ``kind``, return the body's length."""
        if self._head_due:
            self._head_due = 0
            self.kind = _HEAD
            struct.pack_into(
                wire.FORMAT[_HEAD], raw, 2, self._index, self._channel, self._rate, self._count, self._pre,
                self.app.capture_tick,
            )  # fmt: skip
            return 15
        self.kind = _DATA
        count = min(wire.BURST_COUNTS_MAX, self._count - self._offset)
        struct.pack_into("<H", raw, 2, self._offset)
        self.app.board.burst_copy(self._offset, memoryview(raw)[4 : 4 + 2 * count])
        self._offset += count
        self.pending = 1 if self._offset < self._count else 0
        return 2 + 2 * count

    def busy(self):
        """Return whether the capture's memory is in use."""
        return self.pending or self.app.ramp.capture in (ramp.CAPTURE_ASKED, ramp.CAPTURE_RUNNING)

    def forget(self):
        """The memory has another use: nothing can be sent again."""
        self._count = 0

    def _waited(self):
        return (self.app.ticks - self._since) & state.TICK_MASK

    def _start(self, player):
        if not self._asked:
            self._asked = 1
            self._since = self.app.ticks
        if self.pending and self._waited() < SEND_MS:
            return
        self._asked = self.pending = self._head_due = 0
        if not self.app.running:
            player.capture = ramp.CAPTURE_NONE
            return
        self._channel, rate, self._count, self._pre = player.capture_wanted()
        self._index = player.capture_at
        self._since = self.app.capture_tick = self.app.ticks
        raw = self.service.raw
        few = self.app.kind == channels.FEW and self._channel == channels.I_FINE  # it has no such range
        if few or (raw is not None and raw.rate_hz):  # or the stream has the memory
            self._rate = 0
        else:
            self._rate = self.app.board.burst_start(self._channel, rate, self._count, self._pre)
        self._untriggered = self._pre
        if player.capture_at != self._index:  # a watch began another capture meanwhile
            return
        if self._rate:
            player.capture = ramp.CAPTURE_RUNNING
        else:
            self._fail(player)

    def _fail(self, player):
        self._count = 0
        player.capture = ramp.CAPTURE_DONE
        self.app.failed_capture = self._index + 1

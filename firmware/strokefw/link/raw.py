"""The endless stream: one channel's single readings, sent on as they come, beside ticks and rows.

Loaded when a host first asks for it, to save memory. The board gathers readings into the bursts' memory; what
it has overwritten before we could send it is counted, and left out of the running number's row.
"""

import struct

from strokefw import channels, faults, state
from strokefw.compat import const
from strokefw.link import wire

_PATIENCE = const(20)  # ticks until what does not fill a frame is sent
_HALF = const(0x20000000)
_HEAD = const(8)  # bytes of a frame's body before the readings


class RawSender:
    """``rate_hz`` of the stream that runs, 0 none; ``lost`` readings that were overwritten unsent."""

    def __init__(self, app):
        self.app = app
        self.rate_hz = 0
        self.lost = 0
        self._tail = 0  # number of the next reading to be sent
        self._sent_at = 0

    def start(self, channel, rate_hz):
        """Begin; return a result code. A stream that runs is ended first."""
        self.stop()
        if not 0 <= channel <= 2 or not 0 < rate_hz <= state.TICK_MASK:
            return faults.OUT_OF_RANGE
        if channel == channels.I_FINE and self.app.kind == channels.FEW:  # it has no such range
            return faults.OUT_OF_RANGE
        self.rate_hz = self.app.board.raw_start(channel, rate_hz)
        self.lost = self._tail = 0
        self._sent_at = self.app.ticks
        return 0 if self.rate_hz else faults.NOT_NOW

    def stop(self):
        """End; the memory is the bursts' again."""
        if self.rate_hz:
            self.rate_hz = 0
            self.app.board.raw_stop()

    def fill(self, raw):
        """Put the next body into ``raw`` from 2 on; return its length, 0 when nothing is due."""
        board = self.app.board
        self._skip(board)
        have = (board.raw_head() - self._tail) & state.TICK_MASK
        count = wire.RAW_COUNTS_MAX
        if have < count:
            count = have & (state.TICK_MASK - 1)
            if not count or (self.app.ticks - self._sent_at) & state.TICK_MASK < _PATIENCE:
                return 0
        n = board.raw_copy(self._tail, memoryview(raw)[2 + _HEAD :], count)
        if self._skip(board):  # overwritten while we copied
            return 0
        struct.pack_into("<II", raw, 2, self._tail, self.lost & 0xFFFFFFFF)
        self._tail = (self._tail + count) & state.TICK_MASK
        self._sent_at = self.app.ticks
        return _HEAD + n

    def _skip(self, board):
        # go on to the oldest reading that is still there
        behind = (board.raw_oldest() - self._tail) & state.TICK_MASK
        if not behind or behind >= _HALF:
            return 0
        self.lost += behind
        self._tail = (self._tail + behind) & state.TICK_MASK
        return behind

"""The last 32 events, kept by the board over a reset, so that what happened before it can still be read."""

import struct

from strokefw.compat import const, micropython

SLOT = const(1)  # the board's storage slot of the events
ROWS = const(32)
ROW_BYTES = const(10)
_ROW = "<IBBi"  # tick, kind, code, detail
_HEAD = "<HBB"
_MAGIC = const(0x5345)
_HEAD_BYTES = const(4)
_BYTES = const(324)

_pack_into = struct.pack_into


class Ring:
    """Rows of (tick, kind, code, detail), oldest first; ticks count from the power-up they fell in."""

    def __init__(self, board):
        self._board = board
        self._data = bytearray(_BYTES)
        self._next = self._count = 0
        self.unsaved = 0
        self._take(board.load(SLOT))

    def _take(self, data):
        if data is None or len(data) != _BYTES:
            return
        magic, following, count = struct.unpack_from(_HEAD, data, 0)
        if magic == _MAGIC and following < ROWS and count <= ROWS:
            self._data[:] = data
            self._next = following
            self._count = count

    @micropython.native
    def add(self, tick, kind, code, detail):
        """Put a row in, over the oldest when full. Allocates nothing."""
        _pack_into("<IBBi", self._data, _HEAD_BYTES + ROW_BYTES * self._next, tick, kind, code, detail)
        self._next = (self._next + 1) & 31
        if self._count < ROWS:
            self._count += 1
        self.unsaved = 1

    def save(self):
        """Hand the rows to the board's storage (not in the tick, not while driving: flash stops the chip)."""
        self.unsaved = 0
        struct.pack_into(_HEAD, self._data, 0, _MAGIC, self._next, self._count)
        self._board.store(SLOT, bytes(self._data))

    def rows(self):
        """Return the rows as a list of tuples, oldest first."""
        first = (self._next - self._count) & 31
        at = [_HEAD_BYTES + ROW_BYTES * ((first + i) & 31) for i in range(self._count)]
        return [struct.unpack_from(_ROW, self._data, offset) for offset in at]

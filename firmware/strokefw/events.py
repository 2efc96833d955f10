"""The last 32 events, kept by the board over a reset, so that what happened before it can still be read."""

import struct

from strokefw.compat import const, halfwords, keep_bound, micropython, ptr16

SLOT = const(1)  # the board's storage slot of the events
ROWS = const(32)
ROW_BYTES = const(10)
_ROW = "<IBBi"  # tick, kind, code, detail
_HEAD = "<HBB"
_MAGIC = const(0x5345)
_HEAD_BYTES = const(4)
_BYTES = const(324)


@micropython.viper
def _put(ring: ptr16, row: int, tick: int, kind: int, code: int, detail: int):
    at = 2 + row * 5  # halfwords
    ring[at] = tick & 0xFFFF
    ring[at + 1] = tick >> 16
    ring[at + 2] = kind | code << 8
    ring[at + 3] = detail & 0xFFFF
    ring[at + 4] = (detail >> 16) & 0xFFFF


class Ring:
    """Rows of (tick, kind, code, detail), oldest first; ticks count from the power-up they fell in."""

    def __init__(self, board):
        self._board = board
        self._data = bytearray(_BYTES)
        self._words = halfwords(self._data)
        self._next = self._count = 0
        self.unsaved = 0
        self._take(board.load(SLOT))
        keep_bound(self, "add")

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
        _put(self._words, self._next, tick, kind, code, detail)
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

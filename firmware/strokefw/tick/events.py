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
_UNSAVED = const(162)  # a halfword behind what is kept
_NEXT = const(1)  # the halfword with the next row, and 256 times how many there are
_ROW_HALVES = const(5)


@micropython.viper
def put(ring: ptr16, tick: int, kind: int, code: int, detail: int):
    """Put a row into ``Ring.words``, over the oldest when full."""
    row = ring[_NEXT] & 255
    count = ring[_NEXT] >> 8
    if count < ROWS:
        count += 1
    ring[_NEXT] = ((row + 1) & (ROWS - 1)) | count << 8
    ring[_UNSAVED] = 1
    at = 2 + row * _ROW_HALVES
    ring[at] = tick & 0xFFFF
    ring[at + 1] = tick >> 16
    ring[at + 2] = kind | code << 8
    ring[at + 3] = detail & 0xFFFF
    ring[at + 4] = (detail >> 16) & 0xFFFF


class Ring:
    """Rows of (tick, kind, code, detail), oldest first; ticks count from the power-up they fell in."""

    def __init__(self, board):
        self._board = board
        self._data = bytearray(_BYTES + 2)
        self.words = halfwords(self._data)
        self._take(board.load(SLOT))
        keep_bound(self, "add")

    def _take(self, data):
        if data is None or len(data) != _BYTES:
            return
        magic, following, count = struct.unpack_from(_HEAD, data, 0)
        if magic == _MAGIC and following < ROWS and count <= ROWS:
            self._data[:_BYTES] = data

    def add(self, tick, kind, code, detail):
        """Put a row in, over the oldest when full. Allocates nothing."""
        put(self.words, tick, kind, code, detail)

    @property
    def unsaved(self):
        """Whether a row came since the last ``save``."""
        return self._data[2 * _UNSAVED]

    def save(self):
        """Hand the rows to the board's storage (not in the tick, not while driving: flash stops the chip).

        Returns what ``Board.store`` does.
        """
        self._data[2 * _UNSAVED] = 0
        struct.pack_into("<H", self._data, 0, _MAGIC)
        return self._board.store(SLOT, bytes(self._data[:_BYTES]))

    def rows(self):
        """Return the rows as a list of tuples, oldest first."""
        count = self._data[2 * _NEXT + 1]
        first = self._data[2 * _NEXT] - count
        at = [_HEAD_BYTES + ROW_BYTES * ((first + i) & (ROWS - 1)) for i in range(count)]
        return [struct.unpack_from(_ROW, self._data, offset) for offset in at]

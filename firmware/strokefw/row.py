"""Sample rows and events into their rings: the bytes of ``wire.SAMPLE_FORMAT`` and ``EVENT_FORMAT``.

Written as halfwords: ``struct.pack_into`` takes an eighth of a tick for a row on the chip.
"""

from strokefw import channels, sense
from strokefw.compat import const, micropython, ptr16, ptr32

# where things stand in sense.values: a kernel folds only its module's constants; a test compares PLACES
_BUS = const(2)
_LEG_A = const(4)
_LEG_B = const(5)
_RATIO_A = const(14)
_RATIO_B = const(15)
_B_MERGED = const(20)
_BIAS = const(1 << 29)
PLACES = (
    (_BUS, channels.BUS), (_LEG_A, channels.LEG_A), (_LEG_B, channels.LEG_B), (_RATIO_A, sense.RATIO_A),
    (_RATIO_B, sense.RATIO_B), (_B_MERGED, sense.B_MERGED), (_BIAS, sense.BIAS),
)


@micropython.viper
def put(ring: ptr16, row: int, v: ptr32, tick: int, drive: int, heatsink_dc: int, part_dc: int, codes: int):
    """Write row number ``row``; ``codes`` is the state and 256 times the code shown."""
    at = row * 13
    current = v[_B_MERGED] - _BIAS
    ring[at] = tick & 0xFFFF
    ring[at + 1] = tick >> 16
    ring[at + 2] = drive & 0xFFFF
    ring[at + 3] = current & 0xFFFF
    ring[at + 4] = (current >> 16) & 0xFFFF
    ring[at + 5] = v[_BUS]
    ring[at + 6] = v[_LEG_A]
    ring[at + 7] = v[_LEG_B]
    ring[at + 8] = v[_RATIO_A]
    ring[at + 9] = v[_RATIO_B]
    ring[at + 10] = heatsink_dc & 0xFFFF
    ring[at + 11] = part_dc & 0xFFFF
    ring[at + 12] = codes


@micropython.viper
def tell(ring: ptr16, slot: int, tick: int, kind: int, code: int, index: int, detail: int):
    """Write event number ``slot``."""
    at = slot * 6
    ring[at] = tick & 0xFFFF
    ring[at + 1] = tick >> 16
    ring[at + 2] = kind | code << 8
    ring[at + 3] = index & 0xFFFF
    ring[at + 4] = detail & 0xFFFF
    ring[at + 5] = (detail >> 16) & 0xFFFF

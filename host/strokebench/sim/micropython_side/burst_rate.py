"""Rates of the chip's converter for bursts; imported by the host and by the MicroPython side."""

from array import array

from strokefw.channels import RAW_HZ, RAW_READINGS, RAW_SAFE

CLOCK_HZ = 48000000
MIN_DIVIDER = 96
MIN_HZ = 1000
MAX_COUNT = 50000
CHANNELS = (0, 1, 2)  # I_COARSE, I_FINE, BUS of strokefw.channels


def allowed(channel, rate_hz, count):  # type: ignore[no-untyped-def]
    """Return the rate the clock divider gives for ``rate_hz``; 0 when this bench cannot capture so."""
    if channel not in CHANNELS or not 0 < count <= MAX_COUNT or rate_hz < MIN_HZ:
        return 0
    return CLOCK_HZ // max(MIN_DIVIDER, CLOCK_HZ // rate_hz)


def raw_allowed(rate_hz):  # type: ignore[no-untyped-def]
    """Return the rate of an endless stream asked for at ``rate_hz`` (at least 1): every n-th reading."""
    return RAW_HZ // raw_every(rate_hz)  # type: ignore[no-untyped-call]


def raw_every(rate_hz):  # type: ignore[no-untyped-def]
    """Return that n."""
    return max(1, min(RAW_HZ // rate_hz, RAW_HZ))


def pack(codes):  # type: ignore[no-untyped-def]
    """Return an even number of 12-bit codes as bytes, two codes in three."""
    out = bytearray(3 * len(codes) // 2)
    at = 0
    for i in range(0, len(codes), 2):
        a = codes[i]
        b = codes[i + 1]
        out[at] = a & 255
        out[at + 1] = a >> 8 | (b & 15) << 4
        out[at + 2] = b >> 4
        at += 3
    return out


class RawKept:
    """The newest readings (12-bit codes) of an endless stream, as a board's ``raw_`` methods see them."""

    def __init__(self):  # type: ignore[no-untyped-def]
        self._codes = array("H", [0] * RAW_READINGS)
        self.head = 0

    def add(self, codes):  # type: ignore[no-untyped-def]
        """Take the next readings."""
        for code in codes:
            self._codes[self.head & (RAW_READINGS - 1)] = code
            self.head += 1

    def oldest(self):  # type: ignore[no-untyped-def]
        """Return the number of the oldest reading that can be had."""
        return max(0, self.head - RAW_SAFE)

    def copy(self, first, buf, count):  # type: ignore[no-untyped-def]
        """Pack ``count`` readings from number ``first`` on; return how many bytes."""
        codes = [self._codes[number & (RAW_READINGS - 1)] for number in range(first, first + count)]
        piece = pack(codes)  # type: ignore[no-untyped-call]
        buf[: len(piece)] = piece
        return len(piece)

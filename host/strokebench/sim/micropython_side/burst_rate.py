"""Rates of the chip's converter for bursts; imported by the host and by the MicroPython side."""

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

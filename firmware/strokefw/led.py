"""The front lamp: the tens of a fault code as long flashes, then the units as short ones, then a pause."""

from strokefw.compat import const

LONG_MS = const(600)
LONG_SLOT_MS = const(1000)
SHORT_MS = const(150)
SHORT_SLOT_MS = const(450)
BETWEEN_MS = const(600)
PAUSE_MS = const(1600)
ALIVE_MS = const(60)  # without a fault: one blink in two seconds
ALIVE_SLOT_MS = const(2000)


def pattern(code, tick):
    """Return 1 while the lamp is to be lit at ``tick`` (ms); depends on nothing else."""
    if code == 0:
        return 1 if tick % ALIVE_SLOT_MS < ALIVE_MS else 0
    longs = code // 10 * LONG_SLOT_MS
    shorts = code % 10 * SHORT_SLOT_MS
    at = tick % (longs + BETWEEN_MS + shorts + PAUSE_MS)
    if at < longs:
        return 1 if at % LONG_SLOT_MS < LONG_MS else 0
    at -= longs + BETWEEN_MS
    if 0 <= at < shorts:
        return 1 if at % SHORT_SLOT_MS < SHORT_MS else 0
    return 0

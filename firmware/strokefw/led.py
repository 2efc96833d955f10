"""The front lamp: the tens of a fault code as long flashes, then the units as short ones, then a pause."""

from strokefw.compat import const, micropython

LONG_MS = const(600)
LONG_SLOT_MS = const(1000)
SHORT_MS = const(150)
SHORT_SLOT_MS = const(450)
BETWEEN_MS = const(600)
PAUSE_MS = const(1600)
ALIVE_MS = const(60)  # without a fault: one blink in two seconds
ALIVE_SLOT_MS = const(2000)


@micropython.viper
def pattern(code: int, tick: int) -> int:
    """Return 1 while the lamp is to be lit at ``tick`` (ms); depends on nothing else."""
    if code == 0:
        return int(tick % ALIVE_SLOT_MS < ALIVE_MS)
    longs = code // 10 * LONG_SLOT_MS
    shorts = code % 10 * SHORT_SLOT_MS
    at = tick % (longs + BETWEEN_MS + shorts + PAUSE_MS)
    if at < longs:
        return int(at % LONG_SLOT_MS < LONG_MS)
    at -= longs + BETWEEN_MS
    if at >= 0 and at < shorts:
        return int(at % SHORT_SLOT_MS < SHORT_MS)
    return 0

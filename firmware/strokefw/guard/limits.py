"""Limits of a part against what the bench itself may do, and the rule that armed limits only get tighter."""

from strokefw import faults
from strokefw.compat import const

PART_NTC = const(1)  # bits of the limits' flags: the loose thermistor sits on the part and is judged
SENSORS = const(2)  # the part uses the 5 V feed
PART_EXPECTED = const(4)  # the self-test looks for an open or shorted part
_FLAGS = const(7)

HEATSINK_DERATE_DC = const(700)
HEATSINK_MAX_DC = const(850)


class Absolute:
    """What a kind of bench can do at most: mA, mV, drive 1/10000 per tick, 0.1 C, A2s above ``rest_ma``."""

    def __init__(self, current_max_ma, current_mean_ma, rest_ma, i2t_a2s):
        self.current_max_ma = current_max_ma
        self.current_mean_ma = current_mean_ma
        self.rest_ma = rest_ma  # for ever
        self.i2t_a2s = i2t_a2s
        self.supply_min_mv = 8000
        self.supply_max_mv = 17000
        self.slew_per_ms = 1000
        self.heatsink_max_dc = HEATSINK_MAX_DC


# Reference bench: 40 A for ever; its MOSFETs and shunt take 60 A for 10 s: (60^2 - 40^2) * 10 A2s.
_REFERENCE = Absolute(60000, 45000, 40000, 20000)
# Small bench: 5 A for ever, its hard trip at 6 A; 10 s between the two, as on the reference bench.
_SMALL = Absolute(6000, 5000, 5000, 110)
# Beginner's bench: modules without a sink of their own, 3 A for ever, 5 A for 10 s.
_BEGINNER = Absolute(5000, 3000, 3000, 160)
_BEGINNER.heatsink_max_dc = 0  # no thermistors
ABSOLUTE = (_REFERENCE, _SMALL, _REFERENCE, _REFERENCE, _BEGINNER)  # by board kind

# (field, lowest, highest): fixed bounds; what depends on the board or on another field is in _fits
_BOUNDS = (
    ("drive_min", -10000, 0),
    ("drive_max", 0, 10000),
    ("stall_ms", 50, 30000),
    ("heartbeat_ms", 50, 2000),
    ("part_temp_max_dc", 300, 1500),
    ("i2t_leads_a2s", 1, 100000),
    ("i2t_part_a2s", 1, 100000),
    ("flags", 0, _FLAGS),
)
_SMALLER_IS_TIGHTER = (
    "current_max_ma",
    "current_mean_ma",
    "supply_max_mv",
    "slew_per_ms",
    "drive_max",
    "stall_ms",
    "stall_ma",
    "heartbeat_ms",
    "i2t_leads_a2s",
    "i2t_leads_rest_ma",
    "i2t_part_a2s",
    "i2t_part_rest_ma",
    "part_temp_max_dc",
)
_LARGER_IS_TIGHTER = ("supply_min_mv", "drive_min")


def _fits(new, absolute):
    return (
        50 <= new.current_mean_ma <= absolute.current_mean_ma
        and new.current_mean_ma <= new.current_max_ma <= absolute.current_max_ma
        and absolute.supply_min_mv <= new.supply_min_mv < new.supply_max_mv <= absolute.supply_max_mv
        and 1 <= new.slew_per_ms <= absolute.slew_per_ms
        and new.stall_ma <= new.current_max_ma
        and 10 <= new.i2t_leads_rest_ma <= absolute.current_mean_ma
        and 10 <= new.i2t_part_rest_ma <= absolute.current_mean_ma
        and (absolute.heatsink_max_dc or not new.flags & PART_NTC)
    )


def tighter(new, old):
    """Return True when no field of ``new`` allows more than ``old``."""
    for name in _SMALLER_IS_TIGHTER:
        if getattr(new, name) > getattr(old, name):
            return False
    for name in _LARGER_IS_TIGHTER:
        if getattr(new, name) < getattr(old, name):
            return False
    return new.flags & old.flags == old.flags


def check(new, old, armed, absolute):
    """Return 0 when ``new`` may come into force, else OUT_OF_RANGE or, while armed, ONLY_TIGHTER."""
    for name, low, high in _BOUNDS:
        if not low <= getattr(new, name) <= high:
            return faults.OUT_OF_RANGE
    if not _fits(new, absolute):
        return faults.OUT_OF_RANGE
    if armed and not tighter(new, old):
        return faults.ONLY_TIGHTER
    return 0

"""Scans of an ideal bench, and a bench of readings and guards without anything else, for guard tests."""

from array import array

from strokefw import channels, faults
from strokefw.guard import budget, current, stall
from strokefw.guard.guards import Guard
from strokefw.link.wire import LIMIT_FIELDS, Limits
from strokefw.sensing.calib import Calibration
from strokefw.sensing.sense import Sense

DEFAULTS = {
    "current_max_ma": 12000, "current_mean_ma": 4000, "supply_min_mv": 10500, "supply_max_mv": 16000,
    "slew_per_ms": 100, "drive_min": -10000, "drive_max": 10000, "stall_ms": 1000, "stall_ma": 3000,
    "heartbeat_ms": 500, "i2t_leads_a2s": 3000, "i2t_leads_rest_ma": 20000, "i2t_part_a2s": 100000,
    "i2t_part_rest_ma": 2000, "part_temp_max_dc": 900, "flags": 0,
}  # fmt: skip


def limits(**changes):
    """Limits of an ordinary throttle, with ``changes``."""
    values = dict(DEFAULTS)
    values.update(changes)
    return Limits([values[name] for name in LIMIT_FIELDS])


def of_span(value, span):
    """Counts of a value on a channel whose full scale is `span`."""
    return round(value * channels.FULL_SCALE / span)


def counts_of(
    current_ma=0, bus_mv=12000, sensor_a_mv=2500, sensor_b_mv=1500, feed_mv=5000, ntc_counts=31000,
    lifted_mv=0,
):  # fmt: skip
    """One scan of an ideal bench; leg A carries the bus, leg B is at ground. The bus is ``lifted_mv`` above
    the input.
    """
    coarse = min(65520, max(0, channels.MID_SCALE + of_span(current_ma, channels.COARSE_FULL_MA)))
    fine = min(65520, max(0, channels.MID_SCALE + of_span(current_ma, channels.FINE_FULL_MA)))
    supply = of_span(bus_mv, channels.SUPPLY_FULL_MV)
    sensors = [of_span(mv, channels.SENSOR_FULL_MV) for mv in (sensor_a_mv, sensor_b_mv, feed_mv)]
    values = [coarse, fine, supply, supply, supply, 0] + sensors + [ntc_counts, ntc_counts, coarse, coarse]
    values[channels.VIN] -= of_span(lifted_mv, channels.SUPPLY_FULL_MV)
    return array("H", values)


class Readings:
    """Sense and Guard of a bench that has been on for long, or, ``fresh``, has just got its power.

    ``tick`` feeds one scan and returns the guard's code. ``board`` keeps heat over a reset, if there is one.
    """

    def __init__(self, kind=0, fresh=0, board=None, **changes):
        self.sense = Sense(Calibration())
        self.guard = Guard(self.sense, kind, board)
        if not fresh:
            words = self.guard.budgets.words
            words[budget.TURNS] = budget.TURNS_MAX
            words[budget.ASSUMED] = 0
            places, held = self.guard.current_words, words
            places[current.WAS_A] = held[stall.HOME_A] = 2500  # as counts_of has them
            places[current.WAS_B] = held[stall.HOME_A + 1] = 1500
            held[stall.SETTLED] = stall.SETTLE
        self.guard.set_limits(limits(**changes))
        self.guard.fresh()
        self.drive = 5000
        self.gate = 1
        self.rail = 2
        self.follow = True

    def tick(self, current_ma=0, trips=0, estop=0, **more):
        """One tick; the legs follow the drive unless ``follow`` is off."""
        counts = counts_of(current_ma, **more)
        if self.follow:
            share = abs(self.drive) * self.gate
            counts[channels.LEG_A] = counts[channels.BUS] * share // 10000 if self.drive > 0 else 0
            counts[channels.LEG_B] = counts[channels.BUS] * share // 10000 if self.drive < 0 else 0
            if not self.gate:
                counts[channels.LEG_A] = counts[channels.LEG_B] = counts[channels.BUS] * 407 // 1000
        return self.scan(counts, trips, estop)

    def scan(self, counts, trips=0, estop=0):
        """One tick with a scan of the caller's."""
        self.sense.update(counts)
        return self.guard.update(self.drive, self.gate, self.rail, trips, estop)

    def until(self, code, ticks, **reading):
        """Ticks until ``code`` comes, which must be the first; fail after ``ticks``."""
        for n in range(1, ticks + 1):
            found = self.tick(**reading)
            if found:
                assert found == code, (n, found, faults.row(found))
                return n
        raise AssertionError(f"no fault {code} within {ticks} ticks")

    def quiet(self, ticks, **reading):
        """Demand that nothing happens."""
        for n in range(ticks):
            found = self.tick(**reading)
            assert found == 0, (n, faults.row(found))

"""All guards of one tick: readings and what was driven in, one fault code and the bounds for the next tick out.

Order does not matter: the worst severity wins, and of equals the first found. The single guards live in
guard_current, guard_budget, guard_supply, guard_heat and thermal; here they are fed and their answers weighed.
"""

from array import array

from strokefw import faults, guard_budget, guard_current, guard_limits, ntc, thermal
from strokefw.compat import const, micropython
from strokefw.guard_budget import Budgets
from strokefw.guard_heat import HeatGuard
from strokefw.guard_supply import SupplyGuard

RAIL_CLOSED = const(2)
REFILLED = const(200)  # permille that an emptied budget must have again before it lets one arm
FEED_TICKS = const(20)
FOLLOW_TICKS = const(50)
FOLLOW_MV = const(800)
WARN_TICKS = const(50)  # a condition that limits is shown for at least so long
_LIMIT = const(0)  # guard_current.LIMIT, CAP, FOLDED, SLEW_DOWN, BRAKING: see there
_CAP = const(6)
_FOLDED = const(7)
_SLEW_DOWN = const(8)
_BRAKING = const(9)
_CURRENT_CODES = bytes((0, faults.CURRENT_PEAK, faults.CURRENT_MEAN, faults.TRIPS))
_SANITY_CODES = bytes((0, faults.CURRENT_OFF, faults.RANGES_DIFFER))
_BUDGET_CODES = bytes((faults.BUDGET_BENCH, faults.BUDGET_LEADS, faults.BUDGET_PART))


class Guard:
    """Guards of one bench.

    After ``update``: ``cap`` bounds |drive|, ``slew_down`` its decrease per tick; ``warn`` is the code of a limiting
    condition in force; ``block`` the code that forbids arming and clearing now; ``junction_dc`` the estimate;
    ``left_bench``, ``left_leads``, ``left_part`` the permille left of the budgets. ``silent_ms`` counts up; the link
    sets it to 0 whenever it hears the host.
    """

    def __init__(self, sense, kind):
        self.sense = sense
        self.absolute = guard_limits.ABSOLUTE[kind]
        self.cap = guard_current.FULL
        self.slew_down = 1
        self.warn = self.block = 0
        self.junction_dc = 250
        self.left_bench = self.left_leads = self.left_part = 1000
        self.silent_ms = 0
        self.heartbeat_ms = 0
        self._c = array("i", [0] * guard_current.WORDS)
        self._supply = SupplyGuard()
        self._heat = HeatGuard(guard_limits.HEATSINK_DERATE_DC, self.absolute.heatsink_max_dc)
        self._budgets = Budgets()
        self._budgets.set(guard_budget.BENCH, self.absolute.rest_ma, self.absolute.i2t_a2s)
        self._junction = thermal.Foster(thermal.REFERENCE_STAGES)
        self._mean_ma = self.absolute.current_mean_ma
        self._flags = 0
        self._tick = self._power = 0
        self._feed_seen = self._follow_seen = 0
        self._shown_left = self._spent = 0
        self._heatsink_reading = self._part_reading = self._rail = 0
        self._no_limits()
        self.fresh()

    def _no_limits(self):
        c = self._c
        c[guard_current.LIMIT] = self._mean_ma
        c[guard_current.SLEW] = 1
        c[guard_current.STALL_MA] = self.absolute.current_max_ma
        c[guard_current.STALL_TICKS] = 30000
        c[guard_current.PEAK_MA] = self.absolute.current_max_ma
        c[guard_current.MEAN_TICKS] = 100

    def set_limits(self, limits):
        """Put a part's checked limits in force (link side, not in the tick)."""
        c = self._c
        self._mean_ma = limits.current_mean_ma
        self._derate()
        c[guard_current.SLEW] = limits.slew_per_ms
        c[guard_current.STALL_MA] = limits.stall_ma
        c[guard_current.STALL_TICKS] = limits.stall_ms
        c[guard_current.PEAK_MA] = limits.current_max_ma + limits.current_max_ma // 10 + 800
        c[guard_current.MEAN_TICKS] = 60 + 10000 // limits.slew_per_ms
        self._supply.set(limits.supply_min_mv, limits.supply_max_mv)
        self._budgets.set(guard_budget.LEADS, limits.i2t_leads_rest_ma, limits.i2t_leads_a2s)
        self._budgets.set(guard_budget.PART, limits.i2t_part_rest_ma, limits.i2t_part_a2s)
        self._heat.part_max_dc = limits.part_temp_max_dc
        self.heartbeat_ms = limits.heartbeat_ms
        self._flags = limits.flags

    def fresh(self):
        """Forget what counts towards a fault (on arming and clearing); heat and budgets stay."""
        c = self._c
        for i in range(guard_current.PEAK_SEEN, guard_current.WORDS):
            c[i] = 0
        c[guard_current.FINE_CAP] = guard_current.FULL_FINE
        c[_CAP] = guard_current.FULL
        c[_FOLDED] = c[_BRAKING] = 0
        self._supply.fresh()
        self._heat.fresh()
        self._feed_seen = self._follow_seen = 0

    @micropython.native
    def update(self, drive, gate, rail, trips, estop):
        """Judge one tick by ``sense`` and what was in force in it; return the worst fault code (STOP or OFF) or 0."""
        sense = self.sense
        c = self._c
        signed = sense.current_ma
        amps = signed if signed >= 0 else 0 - signed
        size = drive if drive >= 0 else 0 - drive
        forward = signed if drive > 0 else 0 - signed  # in the direction of the drive
        if drive == 0:
            forward = 0
        high = sense.current_max_ma
        peak = 0 - sense.current_min_ma
        if high > peak:
            peak = high
        self._tick = tick = (self._tick + 1) & 0x3FFFFFFF
        self.silent_ms = (self.silent_ms + 1) & 0xFFFFF

        guard_current.fold(c, forward if forward > 0 else 0, size)
        guard_current.brake(c, 0 - forward, self._supply.room_mv(sense.bus_mv))
        self.cap = c[_CAP]
        self.slew_down = c[_SLEW_DOWN]
        code = _CURRENT_CODES[guard_current.watch(c, amps, peak, trips)]
        values = sense.values
        other = _SANITY_CODES[guard_current.sanity(c, values[0], values[1], peak, 0 if gate or rail == 1 else 1)]
        if other and not code:
            code = other
        if gate:
            if guard_current.stalled(c, amps, sense.sensor_a_mv, sense.sensor_b_mv) and not code:
                code = faults.STALL
            if self.silent_ms > self.heartbeat_ms and not code:
                code = faults.HEARTBEAT_LOST
        if rail == RAIL_CLOSED:
            if self._rail != RAIL_CLOSED:
                self._supply.fresh()
            other = self._supply.update(sense.bus_mv, sense.vin_mv, forward * size // 10000)
            if other and faults.SEVERITY[other] > faults.SEVERITY[code]:
                code = other
        self._rail = rail
        other = self._slow(tick, amps, size, gate, trips)
        if other and faults.SEVERITY[other] > faults.SEVERITY[code]:
            code = other
        if estop:
            code = faults.ESTOP
        self._show(estop)
        return code

    def _slow(self, tick, amps, drive, gate, trips):
        # heat, budgets, feed and legs; returns the worst of their codes
        heat = self._heat
        sense = self.sense
        self._power += thermal.loss_mw(amps, drive, gate, self.junction_dc)
        code = 0
        if tick & 1:
            rise_mk = self._junction.step(self._power >> 1)
            self._power = 0
            foot = sense.heatsink_dc
            self.junction_dc = (foot if foot != ntc.NO_READING else 850) + rise_mk // 100
        elif tick & 2:
            self._read_heat()
        if self._budgets.add(amps):
            self._spent = self._judge_budgets()
        code = heat.code
        if self._spent and gate and faults.SEVERITY[code] < faults.STOP:
            code = self._spent
        if self._flags & guard_limits.SENSORS and gate:
            if sense.feed_ok:
                self._feed_seen = 0
            else:
                self._feed_seen += 1
                if self._feed_seen > FEED_TICKS and not code:
                    code = faults.FEED_RANGE
        if self._follows(drive, gate, trips):
            code = faults.LEG_FOLLOW
        return code

    def _read_heat(self):
        sense = self.sense
        heat = self._heat
        if sense.heatsink_readings != self._heatsink_reading:
            self._heatsink_reading = sense.heatsink_readings
            heat.heatsink(sense.heatsink_ntc, sense.heatsink_dc)
        if sense.part_readings != self._part_reading:
            self._part_reading = sense.part_readings
            if self._flags & guard_limits.PART_NTC:
                heat.part(sense.part_ntc, sense.part_dc)
            else:
                heat.no_part()
        heat.judge(sense.heatsink_dc, self.junction_dc)
        self._derate()

    def _derate(self):
        self._c[_LIMIT] = self._mean_ma * self._heat.share // 1000

    def _judge_budgets(self):
        budgets = self._budgets
        self.left_bench = budgets.left(guard_budget.BENCH)
        self.left_leads = budgets.left(guard_budget.LEADS)
        self.left_part = budgets.left(guard_budget.PART)
        if self.left_bench == 0:
            return faults.BUDGET_BENCH
        if self.left_leads == 0:
            return faults.BUDGET_LEADS
        return faults.BUDGET_PART if self.left_part == 0 else 0

    def _follows(self, drive, gate, trips):
        # the switching leg's mean is the supply times |drive|, the other leg's is near ground
        if gate == 0 or trips:
            self._follow_seen = 0
            return 0
        sense = self.sense
        a = sense.leg_a_mv
        b = sense.leg_b_mv
        between = a - b if a > b else b - a
        off = between - sense.bus_mv * drive // 10000
        allowed = FOLLOW_MV + (sense.bus_mv >> 3)
        if -allowed < off < allowed:
            self._follow_seen = 0
            return 0
        self._follow_seen += 1
        return 1 if self._follow_seen > FOLLOW_TICKS else 0

    def _show(self, estop):
        warn = 0
        if self._heat.share < 1000:
            warn = faults.DERATING
        elif self._c[_FOLDED]:
            warn = faults.FOLDBACK
        elif self._c[_BRAKING] and self.slew_down < self._c[guard_current.SLEW]:
            warn = faults.REGEN_SLOWED
        if warn:
            self.warn = warn
            self._shown_left = WARN_TICKS
        elif self._shown_left:
            self._shown_left -= 1
        else:
            self.warn = 0
        block = self._heat.code
        if estop:
            block = faults.ESTOP
        elif not block and self._spent:
            block = self._spent
        elif not block and self.block >= faults.BUDGET_BENCH and self.block <= faults.BUDGET_PART:
            if self.left_bench < REFILLED or self.left_leads < REFILLED or self.left_part < REFILLED:
                block = self.block
        self.block = block

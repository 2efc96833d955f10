"""All guards of one tick: readings and what was driven in, one fault code and the next tick's bounds out.

Order does not matter: the worst severity wins, and of equals the first found. The single guards live in
guard_current, guard_volts, guard_budget, guard_heat and thermal; here they are fed and their answers
weighed. What is slow by nature (heat, budgets) takes turns over eight ticks.
"""

from array import array

from strokefw import channels, faults, guard_budget, guard_current, guard_limits, guard_volts, ntc, thermal
from strokefw.compat import const, micropython
from strokefw.guard_budget import Budgets
from strokefw.guard_heat import HeatGuard

REFILLED = const(200)  # permille that an emptied budget must have again before it lets one arm
SILENT_MAX = const(1000000)
WARN_TURNS = const(6)  # a limiting condition is shown for at least so many times eight ticks
HOT_DC = const(850)  # taken for the heatsink while its thermistor is broken
_JUNCTION_MS = const(2)

_bound = guard_current.bound
_watch = guard_current.watch
_watch_volts = guard_volts.watch
_spend = guard_budget.spend
_loss_mw = thermal.loss_mw
_SEVERITY = faults.SEVERITY
_CURRENT_CODES = guard_current.CODES
_VOLT_CODES = guard_volts.CODES
_BUDGET_CODES = bytes((0, faults.BUDGET_BENCH, faults.BUDGET_LEADS, faults.BUDGET_PART))


class Guard:
    """Guards of one bench.

    After ``update``: ``cap`` bounds |drive|, ``slew_down`` its decrease per tick; ``warn`` is the code of
    a limiting condition in force; ``block`` the code that forbids arming and clearing now;
    ``junction_dc`` the estimate; ``left_bench``, ``left_leads``, ``left_part`` the permille left of the
    budgets. ``silent_ms`` counts up; the link sets it to 0 whenever it hears the host. Numbers in
    ``update`` and ``_turn`` are places in guard_current's array: on the chip a name of another module
    costs more than the work itself.
    """

    def __init__(self, sense, kind):
        self.sense = sense
        self.absolute = guard_limits.ABSOLUTE[kind]
        self.cap = guard_current.FULL
        self.slew_down = 1
        self.warn = self.block = 0
        self.junction_dc = 250
        self.silent_ms = self.heartbeat_ms = 0
        self._values = sense.values
        self._finer = channels.FINER[kind]
        self._c = array("i", [0] * guard_current.WORDS)
        guard_current.scale(self._c, self._finer)
        self._v = array("i", [0] * guard_volts.WORDS)
        self._heat = HeatGuard(guard_limits.HEATSINK_DERATE_DC, self.absolute.heatsink_max_dc)
        self._budgets = Budgets()
        self._budgets.set(guard_budget.BENCH, self.absolute.rest_ma, self.absolute.i2t_a2s)
        self._junction = thermal.Foster(thermal.REFERENCE_STAGES, _JUNCTION_MS)
        self._mean_ma = self.absolute.current_mean_ma
        self._flags = 0
        self._tick = 0
        self._foot_dc = 250
        self._shown_left = self._spent = self._slow_code = 0
        self._heatsink_reading = self._part_reading = 0
        self._no_limits()
        self.fresh()

    def _no_limits(self):
        c = self._c
        absolute = self.absolute
        c[guard_current.LIMIT] = absolute.current_mean_ma
        c[guard_current.SLEW] = 1
        c[guard_current.STALL_MA] = c[guard_current.PEAK_MA] = absolute.current_max_ma
        c[guard_current.STALL_TICKS] = 30000
        c[guard_current.MEAN_TICKS] = 100
        c[guard_current.SUPPLY_MAX_MV] = self._v[guard_volts.MAX_MV] = absolute.supply_max_mv
        self._v[guard_volts.MIN_MV] = absolute.supply_min_mv

    def set_limits(self, limits):
        """Put a part's checked limits in force (link side, not in the tick)."""
        c = self._c
        self._mean_ma = limits.current_mean_ma
        self._derate()
        c[guard_current.SLEW] = limits.slew_per_ms
        c[guard_current.STALL_MA] = limits.stall_ma
        c[guard_current.STALL_TICKS] = limits.stall_ms
        c[guard_current.PEAK_MA] = limits.current_max_ma + limits.current_max_ma // 10 + 800 // self._finer
        c[guard_current.MEAN_TICKS] = 60 + 10000 // limits.slew_per_ms
        c[guard_current.SUPPLY_MAX_MV] = self._v[guard_volts.MAX_MV] = limits.supply_max_mv
        self._v[guard_volts.MIN_MV] = limits.supply_min_mv
        self._v[guard_volts.USES_FEED] = 1 if limits.flags & guard_limits.SENSORS else 0
        self._budgets.set(guard_budget.LEADS, limits.i2t_leads_rest_ma, limits.i2t_leads_a2s)
        self._budgets.set(guard_budget.PART, limits.i2t_part_rest_ma, limits.i2t_part_a2s)
        self._heat.part_max_dc = limits.part_temp_max_dc
        self.heartbeat_ms = limits.heartbeat_ms
        self._flags = limits.flags

    def fresh(self):
        """Forget what counts towards a fault (on arming and clearing); heat and budgets stay."""
        c = self._c
        for i in range(guard_current.PEAK_SEEN, guard_current.DIFFER_SEEN + 1):
            c[i] = 0
        c[guard_current.FINE_CAP] = guard_current.FULL_FINE
        c[guard_current.CAP] = guard_current.FULL
        self._v[guard_volts.CLOSED] = 0
        self._heat.fresh()

    @micropython.native
    def update(self, drive, gate, rail, trips, estop):
        """Judge one tick by ``sense`` and what was in force in it; return the worst fault code or 0."""
        c = self._c
        v = self._values
        _bound(c, v, drive, v[2])
        self.cap = c[7]
        self.slew_down = c[9]
        code = _CURRENT_CODES[_watch(c, v, gate, trips)]
        other = _VOLT_CODES[_watch_volts(self._v, v, drive, gate, rail, trips)]
        if other and _SEVERITY[other] > _SEVERITY[code]:
            code = other
        silent = self.silent_ms
        if silent < SILENT_MAX:
            self.silent_ms = silent + 1
        tick = (self._tick + 1) & 7
        self._tick = tick
        if tick & 1:
            rise_mk = self._junction.step(_loss_mw(c[11], c[12], gate, self.junction_dc))
            self.junction_dc = self._foot_dc + rise_mk // 100
        else:
            self._turn(tick)
        other = self._slow_code
        if other and _SEVERITY[other] > _SEVERITY[code]:
            code = other
        if estop:
            self.block = faults.ESTOP
            return faults.ESTOP
        if self.block == faults.ESTOP:
            self._show()
        return code

    def _turn(self, turn):
        # one of four slow things per call
        if turn == 0:
            c = self._c
            self._spent = _BUDGET_CODES[_spend(self._budgets.words, c[14])]
            c[14] = 0
        elif turn == 2:
            self._read_heat()
        elif turn == 4:
            heat = self._heat
            if heat.judge(self._foot_dc, self.junction_dc):
                self._derate()
            code = heat.code
            if _SEVERITY[code] < faults.STOP:
                code = self._spent
            self._slow_code = code
        else:
            self._show()

    def _read_heat(self):
        sense = self.sense
        heat = self._heat
        if sense.heatsink_readings != self._heatsink_reading:
            self._heatsink_reading = sense.heatsink_readings
            foot = sense.heatsink_dc
            self._foot_dc = foot if foot != ntc.NO_READING else HOT_DC
            heat.heatsink(sense.heatsink_ntc, sense.heatsink_dc)
        if sense.part_readings != self._part_reading:
            self._part_reading = sense.part_readings
            if self._flags & guard_limits.PART_NTC:
                heat.part(sense.part_ntc, sense.part_dc)
            else:
                heat.no_part()

    @property
    def left_bench(self):
        """Permille left of the bench's own budget."""
        return self._budgets.left(guard_budget.BENCH)

    @property
    def left_leads(self):
        """Permille left of the leads' budget."""
        return self._budgets.left(guard_budget.LEADS)

    @property
    def left_part(self):
        """Permille left of the part's budget."""
        return self._budgets.left(guard_budget.PART)

    def _derate(self):
        self._c[guard_current.LIMIT] = self._mean_ma * self._heat.share // 1000

    def _show(self):
        c = self._c
        warn = 0
        if self._heat.share < 1000:
            warn = faults.DERATING
        elif c[guard_current.FOLDED]:
            warn = faults.FOLDBACK
        elif c[guard_current.BRAKING]:
            warn = faults.REGEN_SLOWED
        if warn:
            self.warn = warn
            self._shown_left = WARN_TURNS
        elif self._shown_left:
            self._shown_left -= 1
        else:
            self.warn = 0
        block = self._heat.code or self._spent
        if self._values[2] > self._v[guard_volts.MAX_MV]:
            block = faults.SUPPLY_HIGH  # the bridge's capacitors keep it for a while
        if not block and faults.BUDGET_BENCH <= self.block <= faults.BUDGET_PART:  # until there is some again
            if min(self.left_bench, self.left_leads, self.left_part) < REFILLED:
                block = self.block
        self.block = block

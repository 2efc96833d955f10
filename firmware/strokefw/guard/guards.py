"""All guards of one tick: readings and what was driven in, one fault code and the next tick's bounds out.

Order does not matter: the worst severity wins, and of equals the first found. The single guards are this
folder's other modules; here they are fed and their answers weighed. What is slow by nature (heat, budgets)
takes turns over eight ticks.
"""

from array import array

from strokefw import channels, faults
from strokefw.compat import const, keep_bound, micropython, ptr32
from strokefw.guard import budget, current, heat, memory, stall, volts
from strokefw.guard import limits as guard_limits
from strokefw.guard.budget import Budgets
from strokefw.guard.heat import HeatGuard
from strokefw.sensing import sense

SILENT_MAX = const(1000000)
WARN_TURNS = const(6)  # a limiting condition is shown for at least so many times eight ticks
HOT_DC = const(850)  # taken for the heatsink while its thermistor is broken
_JUNCTION_MS = const(2)

# Guard's own_words; current.py has the places in current_words
SILENT = const(0)
_TURN = const(1)
_JUNCTION = const(2)  # both in 0.1 C, biased
_FOOT = const(3)
WARN = const(4)
HEARTBEAT = const(5)
BLOCK = const(6)
_SLOW_CODE = const(7)
_SPENT = const(8)
_SHOWN_LEFT = const(9)
_HEATSINK_SEEN = const(10)
_PART_SEEN = const(11)
_HELD = const(12)
_OWN_WORDS = const(13)

_bound = current.bound
_forget_current = current.fresh
_forget_heat = heat.forget
_watch = current.watch
_watch_volts = volts.watch
_spend = budget.spend
_held = stall.judge
_write = memory.write
_loss_mw = heat.loss_mw
_rise_mk = heat.rise_mk
_SEVERITY = faults.SEVERITY
_CURRENT_CODES = current.CODES
_VOLT_CODES = volts.CODES
_BUDGET_CODES = bytes((0, faults.BUDGET_BENCH, faults.BUDGET_LEADS, faults.BUDGET_PART))


class Guard:
    """Guards of one bench.

    After ``update``: ``cap`` bounds |drive|, ``slew_down`` its decrease per tick; ``warn`` is the code of
    a limiting condition in force; ``block`` the code that forbids arming and clearing now;
    ``junction_dc`` the estimate; ``left_bench``, ``left_leads``, ``left_part`` the permille left of the
    budgets. ``silent_ms`` counts up; the link sets it to 0 whenever it hears the host. What must not be
    forgotten is kept by the ``board``, if there is one, over a reset.
    """

    def __init__(self, readings, kind, board=None):
        self.sense = readings
        self.absolute = guard_limits.ABSOLUTE[kind]
        self._values = readings.values
        self._finer = channels.FINER[kind]
        self.current_words = array("i", [0] * current.WORDS)
        current.scale(self.current_words, self._finer)
        self._v = array("i", [0] * volts.WORDS)
        self.own_words = array("i", [0] * _OWN_WORDS)
        self.own_words[_JUNCTION] = self.own_words[_FOOT] = 250 + sense.BIAS
        self.current_words[current.CAP] = current.FULL
        self.current_words[current.SLEW_DOWN] = 1
        self._heat = HeatGuard(guard_limits.HEATSINK_DERATE_DC, self.absolute.heatsink_max_dc)
        self.budgets = Budgets(self.absolute.rest_ma)
        self.stall_words = array("i", [0] * stall.WORDS)
        self.stall_words[stall.TIGHT] = self.absolute.current_max_ma
        self._kept = array("H", [0] * memory.HALFWORDS)
        self._keeper = board.keep if board else None
        if board:
            board.kept(self._kept)
            memory.read(self._kept, self.budgets.words, self.stall_words)
        self.budgets.set(budget.BENCH, self.absolute.rest_ma, self.absolute.i2t_a2s)
        self.junction = heat.Foster(heat.REFERENCE_STAGES, _JUNCTION_MS)
        self._mean_ma = self.absolute.current_mean_ma
        self._flags = 0
        self._no_limits()
        keep_bound(self, "_forbid")
        self.fresh = _freshener(self)
        self.fresh()
        self.update = _updater(self)

    def _no_limits(self):
        c = self.current_words
        absolute = self.absolute
        c[current.LIMIT] = absolute.current_mean_ma
        c[current.SLEW] = 1
        c[current.PEAK_MA] = absolute.current_max_ma
        c[current.MEAN_TICKS] = 100
        c[current.SUPPLY_MAX_MV] = self._v[volts.MAX_MV] = absolute.supply_max_mv
        self._v[volts.MIN_MV] = absolute.supply_min_mv
        stall.limit(self.stall_words, absolute.current_max_ma, 30000, budget.TURNS_MAX)

    def set_limits(self, limits):
        """Put a part's checked limits in force (link side, not in the tick)."""
        c = self.current_words
        self._mean_ma = limits.current_mean_ma
        self._derate()
        c[current.SLEW] = limits.slew_per_ms
        stall.limit(self.stall_words, limits.stall_ma, limits.stall_ms, self.budgets.words[budget.TURNS])
        c[current.PEAK_MA] = limits.current_max_ma + limits.current_max_ma // 10 + 800 // self._finer
        c[current.MEAN_TICKS] = 60 + 10000 // limits.slew_per_ms
        c[current.SUPPLY_MAX_MV] = self._v[volts.MAX_MV] = limits.supply_max_mv
        self._v[volts.MIN_MV] = limits.supply_min_mv
        self._v[volts.USES_FEED] = 1 if limits.flags & guard_limits.SENSORS else 0
        self.budgets.set(budget.LEADS, limits.i2t_leads_rest_ma, limits.i2t_leads_a2s)
        self.budgets.set(budget.PART, limits.i2t_part_rest_ma, limits.i2t_part_a2s)
        self._heat.part_max_dc = limits.part_temp_max_dc
        self.own_words[HEARTBEAT] = limits.heartbeat_ms
        self._flags = limits.flags

    @property
    def block(self):
        """Code that forbids arming and clearing now."""
        return self.own_words[BLOCK]

    @property
    def warn(self):
        """Code of a limiting condition in force."""
        return self.own_words[WARN]

    @property
    def heartbeat_ms(self):
        """Silence of the host that the limits allow while driving."""
        return self.own_words[HEARTBEAT]

    @property
    def cap(self):
        """What bounds |drive| in the next tick, 1/10000."""
        return self.current_words[current.CAP]

    @property
    def slew_down(self):
        """What bounds the fall of |drive| in the next tick, 1/10000."""
        return self.current_words[current.SLEW_DOWN]

    @property
    def junction_dc(self):
        """Estimate of the hottest junction, 0.1 C."""
        return self.own_words[_JUNCTION] - sense.BIAS

    @property
    def silent_ms(self):
        """Ticks since the host was heard."""
        return self.own_words[SILENT]

    @silent_ms.setter
    def silent_ms(self, value):
        self.own_words[SILENT] = value

    @micropython.native
    def _spend(self):
        c = self.current_words
        g = self.own_words
        g[_HELD] = _held(self.stall_words, c)
        g[_SPENT] = _BUDGET_CODES[_spend(self.budgets.words, c[current.SQUARES])]
        c[current.SQUARES] = 0

    @micropython.native
    def _keep(self):
        _write(self._kept, self.budgets.words, self.stall_words)
        if self._keeper:
            self._keeper(self._kept)

    @micropython.native
    def _judge_heat(self):
        thermal = self._heat
        g = self.own_words
        if thermal.judge(g[_FOOT] - sense.BIAS, g[_JUNCTION] - sense.BIAS):
            self._derate()
        code = thermal.words[heat.CODE]
        if _SEVERITY[code] < faults.STOP:
            code = g[_SPENT]
            if not code and g[_HELD]:
                code = faults.STALL
        g[_SLOW_CODE] = code

    @micropython.native
    def _read_heat(self):
        v = self._values
        g = self.own_words
        seen = v[sense.HEATSINK_READINGS]
        if seen != g[_HEATSINK_SEEN]:
            g[_HEATSINK_SEEN] = seen
            foot = v[sense.HEATSINK] - sense.BIAS
            g[_FOOT] = (foot if foot != sense.NO_READING else HOT_DC) + sense.BIAS
            self._heat.heatsink(v[sense.HEATSINK_NTC], foot)
            return
        seen = v[sense.PART_READINGS]
        if seen != g[_PART_SEEN]:
            g[_PART_SEEN] = seen
            if self._flags & guard_limits.PART_NTC:
                self._heat.part(v[sense.PART_NTC], v[sense.PART] - sense.BIAS)
            else:
                self._heat.no_part()

    @property
    def left_bench(self):
        """Permille left of the bench's own budget."""
        return self.budgets.left(budget.BENCH)

    @property
    def left_leads(self):
        """Permille left of the leads' budget."""
        return self.budgets.left(budget.LEADS)

    @property
    def left_part(self):
        """Permille left of the part's budget."""
        return self.budgets.left(budget.PART)

    def _derate(self):
        self.current_words[current.LIMIT] = self._mean_ma * self._heat.share // 1000

    @micropython.native
    def _show(self):
        c = self.current_words
        g = self.own_words
        warn = 0
        if self._heat.words[heat.SHARE] < 1000:
            warn = faults.DERATING
        elif c[current.FOLDED]:
            warn = faults.FOLDBACK
        elif c[current.BRAKING]:
            warn = faults.REGEN_SLOWED
        if warn:
            g[WARN] = warn
            g[_SHOWN_LEFT] = WARN_TURNS
        elif g[_SHOWN_LEFT]:
            g[_SHOWN_LEFT] -= 1
        else:
            g[WARN] = 0

    @micropython.native
    def _forbid(self):
        g = self.own_words
        block = self._heat.words[heat.CODE] or g[_SPENT]
        if self._values[channels.BUS] > self._v[volts.MAX_MV]:
            block = faults.SUPPLY_HIGH  # the bridge's capacitors keep it for a while
        g[BLOCK] = block


@micropython.viper
def _watched(
    g: ptr32, c: ptr32, v: ptr32, volt_words: ptr32, junction: ptr32,
    drive: int, gate: int, rail: int, trips: int,
) -> int:  # fmt: skip
    # The kernels in their order. Returns the places in CURRENT_CODES and (times 64) VOLT_CODES that they
    # tell, and (times 4096) the turn.
    silent = g[SILENT]
    if silent < SILENT_MAX:
        g[SILENT] = silent + 1
    turn = (g[_TURN] + 1) & 7
    g[_TURN] = turn
    _bound(c, v, drive, v[channels.BUS])
    found = int(_watch(c, v, gate, trips))
    found += int(_watch_volts(volt_words, v, drive, gate, rail, trips)) << 6
    if turn & 1:
        power_mw = int(_loss_mw(c[current.AMPS], c[current.SIZE], gate, g[_JUNCTION] - sense.BIAS))
        g[_JUNCTION] = g[_FOOT] + int(_rise_mk(junction, power_mw)) // 100
    return found + (turn << 12)


@micropython.viper
def _fresh(c: ptr32, volt_words: ptr32, heat_words: ptr32, heatsink: ptr32, part: ptr32):
    _forget_current(c)
    volt_words[volts.CLOSED] = 0
    _forget_heat(heat_words, heatsink, part)


def _freshener(guard):
    thermal = guard._heat
    needs = guard.current_words, guard._v, thermal.words, thermal.heatsink_words, thermal.part_words

    @micropython.native
    def fresh(needs=needs):
        """Forget what counts towards a fault (on arming and clearing); heat, budgets and held time stay."""
        c, volt_words, heat_words, heatsink, part = needs
        _fresh(c, volt_words, heat_words, heatsink, part)

    return fresh


def _updater(guard):
    # what ``update`` needs, as locals: see compat.py on the cost of names
    turns = (
        guard._spend,
        None,
        guard._read_heat,
        guard._keep,
        guard._judge_heat,
        None,
        guard._forbid,
        guard._show,
    )
    needs = guard, guard.own_words, guard.current_words, guard._values, guard._v, guard.junction.words, turns

    @micropython.native
    def update(drive, gate, rail, trips, estop, needs=needs):
        """Judge one tick by ``sense`` and what was in force in it; return the worst fault code or 0."""
        guard, g, c, v, volt_words, junction, turns = needs
        found = _watched(g, c, v, volt_words, junction, drive, gate, rail, trips)
        turn = turns[found >> 12]
        if turn:  # what is slow by nature takes turns
            turn()
        code = g[_SLOW_CODE]
        found &= 4095
        if found:  # the worst counts, of equals the last
            severity = _SEVERITY
            other = _VOLT_CODES[found >> 6]
            if severity[other] >= severity[code]:
                code = other
            other = _CURRENT_CODES[found & 63]
            if severity[other] >= severity[code]:
                code = other
        if estop:
            g[BLOCK] = faults.ESTOP
            return faults.ESTOP
        if g[BLOCK] == faults.ESTOP:  # released
            guard._forbid()
        return code

    return update

"""All guards of one tick: readings and what was driven in, one fault code and the next tick's bounds out.

Order does not matter: the worst severity wins, and of equals the first found. The single guards are this
folder's other modules; here they are fed and their answers weighed. What is slow by nature (heat, budgets)
takes turns over eight ticks.
"""

from array import array

from strokefw import channels, faults
from strokefw.compat import const, keep_bound, micropython, ptr8, ptr32
from strokefw.guard import budget, current, heat, memory, stall, volts
from strokefw.guard import limits as guard_limits
from strokefw.guard.budget import Budgets
from strokefw.guard.heat import HeatGuard
from strokefw.sensing import sense

SILENT_MAX = const(1000000)
WARN_TURNS = const(6)  # a limiting condition is shown for at least so many times eight ticks
HOT_DC = const(850)  # taken for the heatsink while its thermistor is broken
_JUNCTION_MS = const(2)
# what ``watched`` returns
FOUND = const(4095)
TURN_SHIFT = const(12)
TURNS_USED = const(0b11011100)  # of ``turns``, from bit 0 on
FORBID = const(6)

# Guard's own_words; current.py has the places in current_words
SILENT = const(0)
TURN = const(1)
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
_judge = heat.judge
_take_heatsink = heat.take_heatsink
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
        few = kind == channels.FEW
        self.current_words = array("i", [0] * current.WORDS)
        current.scale(self.current_words, self._finer)
        self.volt_words = array("i", [0] * volts.WORDS)
        self.volt_words[volts.NO_LEGS] = few
        self.own_words = array("i", [0] * _OWN_WORDS)
        self.own_words[_JUNCTION] = self.own_words[_FOOT] = 250 + sense.BIAS
        self.current_words[current.CAP] = current.FULL
        self.current_words[current.SLEW_DOWN] = 1
        self._heat = HeatGuard(guard_limits.HEATSINK_DERATE_DC, self.absolute.heatsink_max_dc)
        self.budgets = Budgets(self.absolute.rest_ma)
        self.budgets.words[stall.TIGHT] = self.absolute.current_max_ma
        self._kept = array("H", [0] * memory.HALFWORDS)
        self.keeper = board.keep if board else None
        if board:
            board.kept(self._kept)
            memory.read(self._kept, self.budgets.words)
        self.budgets.set(budget.BENCH, self.absolute.rest_ma, self.absolute.i2t_a2s)
        self.junction = heat.Foster(heat.REFERENCE_STAGES, _JUNCTION_MS)
        self._mean_ma = self.absolute.current_mean_ma
        self._flags = 0
        self._no_limits()
        keep_bound(self, "_forbid")
        self.fresh = _freshener(self)
        self.fresh()
        # what is slow by nature takes turns
        self.turns = (
            None, None, self._heat.no_part if few else self._read_heat, _keeper(self), self._judge_heat, None,
            self._forbid, self._show,
        )  # fmt: skip

    def _no_limits(self):
        c = self.current_words
        absolute = self.absolute
        c[current.LIMIT] = absolute.current_mean_ma
        c[current.SLEW] = 1
        c[current.PEAK_MA] = absolute.current_max_ma
        c[current.MEAN_TICKS] = 100
        c[current.SUPPLY_MAX_MV] = self.volt_words[volts.MAX_MV] = absolute.supply_max_mv
        self.volt_words[volts.MIN_MV] = absolute.supply_min_mv
        stall.limit(self.budgets.words, absolute.current_max_ma, 0)

    def set_limits(self, limits):
        """Put a part's checked limits in force (link side, not in the tick)."""
        c = self.current_words
        self._mean_ma = limits.current_mean_ma
        self._derate()
        c[current.SLEW] = limits.slew_per_ms
        stall.limit(self.budgets.words, limits.stall_ma, limits.stall_ms)
        c[current.PEAK_MA] = limits.current_max_ma + limits.current_max_ma // 10 + 800 // self._finer
        c[current.MEAN_TICKS] = 60 + 10000 // limits.slew_per_ms
        c[current.SUPPLY_MAX_MV] = self.volt_words[volts.MAX_MV] = limits.supply_max_mv
        self.volt_words[volts.MIN_MV] = limits.supply_min_mv
        self.volt_words[volts.USES_FEED] = 1 if limits.flags & guard_limits.SENSORS else 0
        self.budgets.set(budget.LEADS, limits.i2t_leads_rest_ma, limits.i2t_leads_a2s)
        self.budgets.set(budget.PART, limits.i2t_part_rest_ma, limits.i2t_part_a2s)
        most_dc = limits.part_temp_max_dc
        flags = limits.flags
        if self._heat.words[heat.PART_HOT]:  # what is too hot must cool by the limits that found it so
            most_dc = min(most_dc, self._heat.part_max_dc)
            flags |= self._flags & guard_limits.PART_NTC
        self._heat.part_max_dc = most_dc
        self.own_words[HEARTBEAT] = limits.heartbeat_ms
        self._flags = flags

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

    def update(self, drive, gate, rail, trips, estop):
        """Judge one tick by ``sense`` and what was in force in it, as the tick does by itself; return the
        worst fault code or 0.
        """
        own = self.own_words
        found = watched(
            own, self.current_words, self._values, self.volt_words, self.junction.words,
            self.budgets.words, drive, gate, rail, trips,
        )  # fmt: skip
        turn = self.turns[found >> TURN_SHIFT]
        if turn:
            turn()
        if is_released(own, estop):
            self._forbid()
        return worst(own, found, estop)

    def _judge_heat(self):
        thermal = self._heat
        if _judged(self.own_words, thermal.words, thermal.heatsink_words):
            self._derate()

    def _read_heat(self):
        v = self._values
        g = self.own_words
        if _heatsink(v, g, self._heat.words, self._heat.heatsink_words):
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
        block = self._heat.words[heat.CODE] or _BUDGET_CODES[g[_SPENT]]
        if self._values[channels.BUS] > self.volt_words[volts.MAX_MV]:
            block = faults.SUPPLY_HIGH  # the bridge's capacitors keep it for a while
        g[BLOCK] = block


@micropython.viper
def _judged(g: ptr32, w: ptr32, t: ptr32) -> int:
    # Returns 1 when the share may have changed.
    changed = int(_judge(w, t, g[_FOOT] - sense.BIAS, g[_JUNCTION] - sense.BIAS))
    code = w[heat.CODE]
    severity = ptr8(_SEVERITY)
    if severity[code] < faults.STOP:
        codes = ptr8(_BUDGET_CODES)
        code = codes[g[_SPENT]]
        if code == 0 and g[_HELD]:
            code = faults.STALL
    g[_SLOW_CODE] = code
    return changed


@micropython.viper
def _heatsink(v: ptr32, g: ptr32, w: ptr32, t: ptr32) -> int:
    # Returns 1 when there was a new reading.
    seen = v[sense.HEATSINK_READINGS]
    if seen == g[_HEATSINK_SEEN]:
        return 0
    g[_HEATSINK_SEEN] = seen
    foot = v[sense.HEATSINK] - sense.BIAS
    g[_FOOT] = v[sense.HEATSINK]
    if foot == sense.NO_READING:
        g[_FOOT] = HOT_DC + sense.BIAS
    _take_heatsink(w, t, v[sense.HEATSINK_NTC], foot)
    return 1


@micropython.viper
def watched(
    g: ptr32, c: ptr32, v: ptr32, volt_words: ptr32, junction: ptr32, remembered: ptr32,
    drive: int, gate: int, rail: int, trips: int,
) -> int:  # fmt: skip
    # The kernels in their order. Returns the places in CURRENT_CODES and (times 64) VOLT_CODES that they
    # tell, and (from TURN_SHIFT on) the turn.
    silent = g[SILENT]
    if silent < SILENT_MAX:
        g[SILENT] = silent + 1
    turn = (g[TURN] + 1) & 7
    g[TURN] = turn
    _bound(c, v, drive, v[channels.BUS])
    found = int(_watch(c, v, gate, trips))
    volts_found = int(_watch_volts(volt_words, v, drive, gate, rail, trips))
    track = (turn & 3) - 1
    if track == 0 or track == 1:
        away = v[sense.RATIO_A + track] - c[current.WAS_A + track] + current.FAR_MV
        if away < 0:
            away = 0
        if away > 2 * current.FAR_MV:
            away = 2 * current.FAR_MV
        c[current.SUM_A + track] += away
    if turn & 1:
        power_mw = int(_loss_mw(c[current.AMPS], c[current.SIZE], gate, g[_JUNCTION] - sense.BIAS))
        rise_mk = int(_rise_mk(junction, power_mw))
        g[_JUNCTION] = g[_FOOT] + rise_mk // 100
        if turn == 1:
            held = int(_held(remembered, c))
            g[_HELD] = held
    elif turn == 0:
        squares = c[current.SQUARES]
        c[current.EIGHT] = squares
        c[current.SQUARES] = 0
        spent = int(_spend(remembered, squares))
        g[_SPENT] = spent
    return found + (volts_found << 6) + (turn << TURN_SHIFT)


@micropython.viper
def worst(g: ptr32, found: int, estop: int) -> int:
    """Return the worst code of one tick, 0 for none: what ``watched`` found, and an open emergency line."""
    if estop:
        g[BLOCK] = faults.ESTOP
        return faults.ESTOP
    code = g[_SLOW_CODE]
    found &= FOUND
    if found:  # the worst counts, of equals the last
        severity = ptr8(_SEVERITY)
        volt_codes = ptr8(_VOLT_CODES)
        current_codes = ptr8(_CURRENT_CODES)
        other = int(volt_codes[found >> 6])
        if int(severity[other]) >= int(severity[code]):
            code = other
        other = int(current_codes[found & 63])
        if int(severity[other]) >= int(severity[code]):
            code = other
    return code


@micropython.viper
def is_released(g: ptr32, estop: int) -> int:
    """Return 1 when the emergency line is closed again and still forbids arming."""
    if estop == 0:
        if g[BLOCK] == faults.ESTOP:
            return 1
    return 0


@micropython.viper
def _fresh(c: ptr32, volt_words: ptr32, heat_words: ptr32, heatsink: ptr32, part: ptr32):
    _forget_current(c)
    volt_words[volts.CLOSED] = 0
    _forget_heat(heat_words, heatsink, part)


def _freshener(guard):
    thermal = guard._heat
    needs = guard.current_words, guard.volt_words, thermal.words, thermal.heatsink_words, thermal.part_words

    def fresh(needs=needs):
        """Forget what counts towards a fault (on arming and clearing); heat, budgets and held time stay."""
        c, volt_words, heat_words, heatsink, part = needs
        _fresh(c, volt_words, heat_words, heatsink, part)

    return fresh


def _keeper(guard):
    needs = _write, guard.keeper, guard._kept, guard.budgets.words

    @micropython.native
    def keep(needs=needs):
        """Hand the record to the board."""
        write, keeper, kept, remembered = needs
        write(kept, remembered)
        keeper(kept)

    return keep if guard.keeper else None

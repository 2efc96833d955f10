"""Guards of heat: broken or jumping thermistors, derating and cut-out, the part's own limit; and the junction
of the hottest MOSFET, which nobody can measure.

The guards work on new readings only (every 16 ticks); what a thermistor's reading is worth is a kernel all
the same.
"""

from array import array
from math import exp

from strokefw import faults
from strokefw.compat import const, keep_bound, micropython, ptr32, word
from strokefw.sensing import sense

BROKEN_READINGS = const(2)  # 32 ms
STEP_DC = const(80)  # further from the slow mean than metal can warm in its quarter of a second
PART_STEP_DC = const(120)
CATCH_UP_DC = const(32)  # a sensor that stands still after a jump is believed again, at 12 C per second
JUNCTION_DERATE_DC = const(1250)
JUNCTION_MAX_DC = const(1500)
COOLER_DC = const(50)  # the part must cool by so much before it may be driven again
FULL = const(1000)

CODE = const(0)  # HeatGuard's words: the fault that holds now
SHARE = const(1)
_HOT = const(2)  # cut out and not cooled down yet
PART_HOT = const(3)
_HEATSINK_CODE = const(4)
_PART_CODE = const(5)

_SEEN = const(0)  # a thermistor's words
_LAST = const(1)
_TRUSTED = const(2)  # 1 while the last reading can be believed
_MEAN_16 = const(3)  # biased; 0 before the first reading
_STEP = const(4)
_MOST = const(5)  # the heatsink's alone: where it is cut out, and where it may go on
_COOL = const(6)
_JUMPED = const(3)  # beyond the conditions of sense: place in a thermistor's codes


@micropython.viper
def _weigh(t: ptr32, state: int, value_dc: int) -> int:
    # Take a thermistor's reading; return the place in its codes.
    wrong = state
    if state == sense.NTC_OK:
        mean = value_dc << 4
        if t[_MEAN_16]:
            mean = t[_MEAN_16] - sense.BIAS
        away = value_dc - (mean >> 4)
        if away > t[_STEP]:
            wrong = _JUMPED
            away = CATCH_UP_DC
        elif away < 0 - t[_STEP]:
            wrong = _JUMPED
            away = 0 - CATCH_UP_DC
        t[_MEAN_16] = mean + away + sense.BIAS
    seen = t[_SEEN]
    if wrong == 0:
        seen = 0
    elif wrong != t[_LAST]:
        seen = 1
    elif seen < BROKEN_READINGS:
        seen += 1
    t[_SEEN] = seen
    t[_LAST] = wrong
    t[_TRUSTED] = 0
    if wrong == 0:
        t[_TRUSTED] = 1
    if seen < BROKEN_READINGS:
        return 0
    return wrong


@micropython.viper
def take_heatsink(w: ptr32, t: ptr32, state: int, value_dc: int):
    """Take a new reading of the heatsink into HeatGuard's words and the thermistor's."""
    code = int(_weigh(t, state, value_dc))
    if code:  # its three codes follow one another, as the conditions do
        code += faults.HEATSINK_NTC_OPEN - 1
    w[_HEATSINK_CODE] = code
    if t[_TRUSTED]:
        if value_dc >= t[_MOST]:
            w[_HOT] = faults.HEATSINK_HOT
        elif value_dc <= t[_COOL] and w[_HOT] == faults.HEATSINK_HOT:
            w[_HOT] = 0


@micropython.viper
def judge(w: ptr32, t: ptr32, heatsink_dc: int, junction_dc: int) -> int:
    """Bring SHARE and CODE of HeatGuard's words up to date; return 1 when SHARE may have changed."""
    changed = 0
    hot = w[_HOT]
    if heatsink_dc > t[_COOL] or junction_dc > JUNCTION_DERATE_DC or w[SHARE] != FULL or hot:
        changed = 1
        share = FULL
        if heatsink_dc > t[_COOL]:
            share = FULL - (heatsink_dc - t[_COOL]) * 900 // (t[_MOST] - t[_COOL])
        over = junction_dc - JUNCTION_DERATE_DC
        if over > 0:
            over = FULL - over * 900 // (JUNCTION_MAX_DC - JUNCTION_DERATE_DC)
            if over < share:
                share = over
        w[SHARE] = share if share > 100 else 100
        if junction_dc >= JUNCTION_MAX_DC and hot == 0:
            hot = faults.JUNCTION_HOT
        elif junction_dc <= JUNCTION_DERATE_DC and hot == faults.JUNCTION_HOT:
            hot = 0
        w[_HOT] = hot
    code = w[_HEATSINK_CODE]
    if code == 0:
        code = hot
    if code == 0:
        code = w[_PART_CODE]
    if code == 0:
        code = w[PART_HOT]
    w[CODE] = code
    return changed


@micropython.viper
def forget(w: ptr32, heatsink: ptr32, part: ptr32):
    # What was: both thermistors' next readings are believed. The cut-outs stay.
    for i in range(_STEP):
        heatsink[i] = 0
        part[i] = 0
    w[_HEATSINK_CODE] = 0
    w[_PART_CODE] = 0


class HeatGuard:
    """Derating (permille of the mean current), cut-outs with hysteresis, broken thermistors."""

    code = word(CODE)
    share = word(SHARE)

    def __init__(self, derate_dc, max_dc):
        self.words = array("i", [0, FULL, 0, 0, 0, 0])
        self.part_max_dc = 1500
        self.heatsink_words = array("i", [0, 0, 0, 0, STEP_DC, max_dc, derate_dc])
        self.part_words = array("i", [0, 0, 0, 0, PART_STEP_DC])
        self._part_codes = bytes((0, faults.PART_NTC_OPEN, faults.PART_NTC_SHORT, faults.PART_NTC_STEP))
        keep_bound(self, "part", "no_part")

    def fresh(self):
        """Believe the thermistors' next readings; keep the cut-outs."""
        forget(self.words, self.heatsink_words, self.part_words)

    def part(self, state, value_dc):
        """Take a new reading of the part's own thermistor (only where the part has one)."""
        w = self.words
        t = self.part_words
        w[_PART_CODE] = self._part_codes[_weigh(t, state, value_dc)]
        if t[_TRUSTED]:
            if value_dc >= self.part_max_dc:
                w[PART_HOT] = faults.PART_HOT
            elif value_dc <= self.part_max_dc - COOLER_DC:
                w[PART_HOT] = 0

    def no_part(self):
        """The part in use has no thermistor."""
        w = self.words
        w[_PART_CODE] = w[PART_HOT] = 0


# -- the junction --------------------------------------------------------------------------------
# Losses into a Foster chain on top of the measured heatsink: mW, mK/W, mK. Each stage has its own pace (a
# power of two ticks, about a thirtieth of its time constant), so that its step is well conditioned, and takes
# the mean power of the ticks between.

_STAGES = const(0)  # how many
_COUNT = const(1)  # steps so far
_FIRST = const(2)  # the first stage's words
_R = const(0)  # mK/W
_GAIN = const(1)  # of 4096 per pace
_PACE = const(2)  # log2 of ticks
_SUM = const(3)  # power summed since the last step, mW
_RISE = const(4)  # mK
_WORDS = const(5)  # of a stage
POWER_MAX_MW = const(100000)
RISE_MAX_MK = const(250000)

# A 60 V, 1.6 mOhm MOSFET in TO-220 on an insulating pad: 0.4 K/W inside, 0.8 K/W pad (typical data sheet)
REFERENCE_STAGES = ((100, 2), (300, 30), (800, 1500))  # (mK/W, ms)
RDS_UOHM = const(1600)  # at 25 C
# 0.1 uJ per period and ampere: edges 0.33 W, dead time 0.64 W, recovery 0.05 W at 40 A and 20 kHz
SWITCH_PER_A = const(13)


@micropython.viper
def rise_mk(f: ptr32, power: int) -> int:
    """Go on by a step of a chain's ``words`` with ``power`` (0..100 W in mW); return the rise in mK."""
    count = (f[_COUNT] + 1) & 0xFFFF
    f[_COUNT] = count
    rise = 0
    for i in range(f[_STAGES]):
        j = _FIRST + _WORDS * i
        total = f[j + _SUM] + power
        pace = f[j + _PACE]
        if count & ((1 << pace) - 1) == 0:
            target = (total >> pace + 3) * f[j] // 125
            if target > RISE_MAX_MK:
                target = RISE_MAX_MK
            old = f[j + _RISE]
            f[j + _RISE] = old + ((target - old) * f[j + _GAIN] + 2048 >> 12)
            total = 0
        f[j + _SUM] = total
        rise += f[j + _RISE]
    return rise


class Foster:
    """A chain of (mK/W, ms) stages in ``words``; ``step`` every ``step_ms``."""

    def __init__(self, stages, step_ms=1):
        self.words = array("i", [0] * (_FIRST + _WORDS * len(stages)))
        self.load(stages, step_ms)

    def load(self, stages, step_ms=1):
        """Take other stages, cold; not more than the first ones were."""
        f = self.words
        for i in range(len(f)):
            f[i] = 0
        f[_STAGES] = len(stages)
        at = _FIRST
        for r_mk_w, tau_ms in stages:
            pace = 0
            while (32 * step_ms << pace) < tau_ms and pace < 12:
                pace += 1
            f[at + _R] = r_mk_w
            f[at + _GAIN] = int(4096 * (1 - exp(-(step_ms << pace) / tau_ms)) + 0.5)
            f[at + _PACE] = pace
            at += _WORDS

    def step(self, power_mw):
        """Go on by a step with ``power_mw`` (0..100 W) and return the rise in mK."""
        return rise_mk(self.words, power_mw)


@micropython.viper
def loss_mw(amps: int, drive: int, gate: int, junction_dc: int) -> int:
    """Power of the hottest MOSFET in mW, at most 100 W: current in mA, drive 0..10000, junction in 0.1 C."""
    if gate == 0:
        return amps - (amps >> 2)  # a body diode, for the moment that it conducts
    sixteenth = amps >> 4
    square = sixteenth * sixteenth >> 4  # A2 * 244.14
    hot = junction_dc - 250
    if hot < 0:
        hot = 0
    if hot > 1500:
        hot = 1500
    # the leg that does not switch is always on; RDS rises by half a percent per K
    power = (square >> 2) * RDS_UOHM // 61035 * (2000 + hot) // 2000
    if drive > 0 and drive < 10000:
        share = drive
        if share < 5000:
            share = 10000 - drive
        switching = power * share // 10000 + amps * SWITCH_PER_A // 500  # at 20 kHz
        if switching > power:
            power = switching
    if power > POWER_MAX_MW:
        power = POWER_MAX_MW
    return power

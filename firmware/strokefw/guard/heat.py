"""Guards of heat: broken or jumping thermistors, derating and cut-out, the part's own limit.

Works on new readings only (every 16 ticks); what a thermistor's reading is worth is a kernel all the same.
"""

from array import array

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
_PART_HOT = const(3)
_HEATSINK_CODE = const(4)
_PART_CODE = const(5)

_SEEN = const(0)  # a thermistor's words
_LAST = const(1)
_TRUSTED = const(2)  # 1 while the last reading can be believed
_MEAN_16 = const(3)  # biased; 0 before the first reading
_STEP = const(4)
_JUMPED = const(3)  # beyond the conditions of sense: place in a thermistor's codes


@micropython.viper
def _weigh(t: ptr32, state: int, value_dc: int) -> int:
    # Take a thermistor's reading; return the place in its codes.
    wrong = state
    if state == 0:  # ntc.OK
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
        self._derate_dc = derate_dc
        self._max_dc = max_dc
        self.words = array("i", [0, FULL, 0, 0, 0, 0])
        self.part_max_dc = 1500
        self.heatsink_words = array("i", [0, 0, 0, 0, STEP_DC])
        self._heatsink_codes = bytes(
            (0, faults.HEATSINK_NTC_OPEN, faults.HEATSINK_NTC_SHORT, faults.HEATSINK_NTC_STEP)
        )
        self.part_words = array("i", [0, 0, 0, 0, PART_STEP_DC])
        self._part_codes = bytes((0, faults.PART_NTC_OPEN, faults.PART_NTC_SHORT, faults.PART_NTC_STEP))
        keep_bound(self, "heatsink", "part", "no_part", "judge")

    @micropython.native
    def fresh(self):
        """Believe the thermistors' next readings; keep the cut-outs."""
        forget(self.words, self.heatsink_words, self.part_words)

    @micropython.native
    def heatsink(self, state, value_dc):
        """Take a new reading of the heatsink."""
        w = self.words
        t = self.heatsink_words
        w[_HEATSINK_CODE] = self._heatsink_codes[_weigh(t, state, value_dc)]
        if t[_TRUSTED]:
            if value_dc >= self._max_dc:
                w[_HOT] = faults.HEATSINK_HOT
            elif value_dc <= self._derate_dc and w[_HOT] == faults.HEATSINK_HOT:
                w[_HOT] = 0

    @micropython.native
    def part(self, state, value_dc):
        """Take a new reading of the part's own thermistor (only where the part has one)."""
        w = self.words
        t = self.part_words
        w[_PART_CODE] = self._part_codes[_weigh(t, state, value_dc)]
        if t[_TRUSTED]:
            if value_dc >= self.part_max_dc:
                w[_PART_HOT] = faults.PART_HOT
            elif value_dc <= self.part_max_dc - COOLER_DC:
                w[_PART_HOT] = 0

    @micropython.native
    def no_part(self):
        """The part in use has no thermistor."""
        w = self.words
        w[_PART_CODE] = w[_PART_HOT] = 0

    @micropython.native
    def judge(self, heatsink_dc, junction_dc):
        """Bring ``share`` and ``code`` up to date; return 1 when ``share`` may have changed."""
        w = self.words
        cool = heatsink_dc <= self._derate_dc and junction_dc <= JUNCTION_DERATE_DC
        if cool and w[SHARE] == FULL and not w[_HOT]:
            w[CODE] = w[_HEATSINK_CODE] or w[_PART_CODE] or w[_PART_HOT]
            return 0
        share = FULL
        if heatsink_dc > self._derate_dc:
            share = FULL - (heatsink_dc - self._derate_dc) * 900 // (self._max_dc - self._derate_dc)
        over = junction_dc - JUNCTION_DERATE_DC
        if over > 0:
            share = min(share, FULL - over * 900 // (JUNCTION_MAX_DC - JUNCTION_DERATE_DC))
        w[SHARE] = share if share > 100 else 100
        if junction_dc >= JUNCTION_MAX_DC and not w[_HOT]:
            w[_HOT] = faults.JUNCTION_HOT
        elif junction_dc <= JUNCTION_DERATE_DC and w[_HOT] == faults.JUNCTION_HOT:
            w[_HOT] = 0
        w[CODE] = w[_HEATSINK_CODE] or w[_HOT] or w[_PART_CODE] or w[_PART_HOT]
        return 1

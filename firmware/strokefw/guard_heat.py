"""Guards of heat: broken or jumping thermistors, derating and cut-out, the part's own limit.

Works on new readings only (every 16 ticks), so it is no kernel.
"""

from strokefw import faults, ntc
from strokefw.compat import const, micropython

BROKEN_READINGS = const(2)  # 32 ms
STEP_DC = const(80)  # further from the slow mean than metal can warm in its quarter of a second
PART_STEP_DC = const(120)
CATCH_UP_DC = const(32)  # a sensor that stands still after a jump is believed again, at 12 C per second
JUNCTION_DERATE_DC = const(1250)
JUNCTION_MAX_DC = const(1500)
COOLER_DC = const(50)  # the part must cool by so much before it may be driven again
FULL = const(1000)


class Thermistor:
    """One thermistor: what is wrong with it, by the three codes it was made with."""

    def __init__(self, open_code, short_code, step_code, step_dc):
        self._codes = (0, open_code, short_code, step_code)
        self._step_dc = step_dc
        self.fresh()

    def fresh(self):
        """Forget what was; the next reading is believed."""
        self._seen = self._last = 0
        self.trusted = 0  # 1 while the last reading can be believed
        self._mean_16 = ntc.NO_READING

    @micropython.native
    def update(self, state, value_dc):
        """Take one new reading; return a fault code or 0."""
        wrong = state
        if state == ntc.OK:
            if self._mean_16 == ntc.NO_READING:
                self._mean_16 = value_dc << 4
            away = value_dc - (self._mean_16 >> 4)
            if away > self._step_dc:
                wrong = 3
                away = CATCH_UP_DC
            elif away < 0 - self._step_dc:
                wrong = 3
                away = 0 - CATCH_UP_DC
            self._mean_16 += away
        if wrong and wrong == self._last:
            if self._seen < BROKEN_READINGS:
                self._seen += 1
        else:
            self._seen = 1 if wrong else 0
        self._last = wrong
        self.trusted = 0 if wrong else 1
        return self._codes[wrong] if self._seen >= BROKEN_READINGS else 0


class HeatGuard:
    """Derating (permille of the mean current), cut-outs with hysteresis, broken thermistors."""

    def __init__(self, derate_dc, max_dc):
        self._derate_dc = derate_dc
        self._max_dc = max_dc
        self.part_max_dc = 1500
        self.share = FULL
        self.code = 0  # the fault that holds now
        self.hot = self.part_hot = 0  # cut out and not cooled down yet
        self._heatsink = Thermistor(
            faults.HEATSINK_NTC_OPEN, faults.HEATSINK_NTC_SHORT, faults.HEATSINK_NTC_STEP, STEP_DC
        )
        self._part = Thermistor(
            faults.PART_NTC_OPEN, faults.PART_NTC_SHORT, faults.PART_NTC_STEP, PART_STEP_DC
        )
        self._heatsink_code = self._part_code = 0

    def fresh(self):
        """Believe the thermistors' next readings; keep the cut-outs."""
        self._heatsink.fresh()
        self._part.fresh()
        self._heatsink_code = self._part_code = 0

    @micropython.native
    def heatsink(self, state, value_dc):
        """Take a new reading of the heatsink."""
        self._heatsink_code = self._heatsink.update(state, value_dc)
        if self._heatsink.trusted:
            if value_dc >= self._max_dc:
                self.hot = faults.HEATSINK_HOT
            elif value_dc <= self._derate_dc and self.hot == faults.HEATSINK_HOT:
                self.hot = 0

    @micropython.native
    def part(self, state, value_dc):
        """Take a new reading of the part's own thermistor (only where the part has one)."""
        self._part_code = self._part.update(state, value_dc)
        if self._part.trusted:
            if value_dc >= self.part_max_dc:
                self.part_hot = faults.PART_HOT
            elif value_dc <= self.part_max_dc - COOLER_DC:
                self.part_hot = 0

    def no_part(self):
        """The part in use has no thermistor."""
        self._part_code = self.part_hot = 0

    @micropython.native
    def judge(self, heatsink_dc, junction_dc):
        """Bring ``share`` and ``code`` up to date; return 1 when ``share`` may have changed."""
        cool = heatsink_dc <= self._derate_dc and junction_dc <= JUNCTION_DERATE_DC
        if cool and self.share == FULL and not self.hot:
            self.code = self._heatsink_code or self._part_code or self.part_hot
            return 0
        share = FULL
        if heatsink_dc > self._derate_dc:
            share = FULL - (heatsink_dc - self._derate_dc) * 900 // (self._max_dc - self._derate_dc)
        over = junction_dc - JUNCTION_DERATE_DC
        if over > 0:
            share = min(share, FULL - over * 900 // (JUNCTION_MAX_DC - JUNCTION_DERATE_DC))
        self.share = share if share > 100 else 100
        if junction_dc >= JUNCTION_MAX_DC and not self.hot:
            self.hot = faults.JUNCTION_HOT
        elif junction_dc <= JUNCTION_DERATE_DC and self.hot == faults.JUNCTION_HOT:
            self.hot = 0
        self.code = self._heatsink_code or self.hot or self._part_code or self.part_hot
        return 1

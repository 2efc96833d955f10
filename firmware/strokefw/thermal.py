"""Junction temperature of the hottest MOSFET: losses into a Foster chain on top of the measured heatsink.

Integers: mW, mK/W, mK. Each stage has its own pace (a power of two ticks, about a thirtieth of its time
constant), so that its step is well conditioned, and takes the mean power of the ticks between.
"""

from array import array
from math import exp

from strokefw.compat import const, micropython, ptr32

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

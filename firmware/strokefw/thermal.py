"""Junction temperature of the hottest MOSFET: losses into a Foster chain on top of the measured heatsink.

Integers: mW, mK/W, mK. Each stage has its own pace (a power of two ticks, about a thirtieth of its time
constant), so that its step is well conditioned, and takes the mean power of the ticks between.
"""

from array import array
from math import exp

from strokefw.compat import const, micropython, ptr32

_R = const(0)  # mK/W
_GAIN = const(1)  # of 4096 per pace
_PACE = const(2)  # log2 of ticks
_SUM = const(3)  # power summed since the last step, mW
_RISE = const(4)  # mK
_WORDS = const(5)
POWER_MAX_MW = const(100000)
RISE_MAX_MK = const(250000)

# A 60 V, 1.6 mOhm MOSFET in TO-220 on an insulating pad: 0.4 K/W inside, 0.8 K/W pad (typical data sheet)
REFERENCE_STAGES = ((100, 2), (300, 30), (800, 1500))  # (mK/W, ms)
RDS_UOHM = const(1600)  # at 25 C
# 0.1 uJ per period and ampere: edges 0.33 W, dead time 0.64 W, recovery 0.05 W at 40 A and 20 kHz
SWITCH_PER_A = const(13)


@micropython.viper
def _rise_mk(f: ptr32, stages: int, tick: int, power: int) -> int:
    rise = 0
    for i in range(stages):
        j = 5 * i
        total = f[j + 3] + power
        pace = f[j + 2]
        if tick & ((1 << pace) - 1) == 0:
            target = (total >> pace + 3) * f[j] // 125
            if target > RISE_MAX_MK:
                target = RISE_MAX_MK
            old = f[j + 4]
            f[j + 4] = old + ((target - old) * f[j + 1] + 2048 >> 12)
            total = 0
        f[j + 3] = total
        rise += f[j + 4]
    return rise


class Foster:
    """A chain of (mK/W, ms) stages; ``step`` every ``step_ms`` returns the rise over its foot in mK."""

    def __init__(self, stages, step_ms=1):
        self._stages = len(stages)
        self._f = array("i", [0] * (_WORDS * len(stages)))
        for i, (r_mk_w, tau_ms) in enumerate(stages):
            pace = 0
            while (32 * step_ms << pace) < tau_ms and pace < 12:
                pace += 1
            self._f[_WORDS * i + _R] = r_mk_w
            self._f[_WORDS * i + _GAIN] = int(4096 * (1 - exp(-(step_ms << pace) / tau_ms)) + 0.5)
            self._f[_WORDS * i + _PACE] = pace
        self._tick = 0

    @micropython.native
    def step(self, power_mw):
        """Go on by a step with ``power_mw`` (0..100 W) and return the rise in mK."""
        self._tick = tick = (self._tick + 1) & 0xFFFF
        return _rise_mk(self._f, self._stages, tick, power_mw)


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

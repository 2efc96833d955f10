"""The bridge: duty from two PWM slices, the enable line in the hands of the PIO, latch, rails, self-test
pulses.
"""

from array import array

import micropython
import rp2
from machine import Pin
from micropython import const
from uctypes import addressof

from strokefw import channels
from strokefw.pico import dma, pins, regs
from strokefw.pico import pio as programs

_TOP = const(6249)  # 125 MHz / 6250 = 20 kHz
_TRIP_TOP = const(2047)  # 61 kHz: little ripple behind the board's filter
_INVERT_B = const(8)
_OFF = const(409600000)  # 6250 << 16: high side never on, inverted low side never on
_CUTS = const(31)  # periods the PIO cuts by itself before it stays off; renewed by every drive()
_OVERRIDE_HIGH = const(0x300)
_SETTLE_US = const(60)  # longer than a PWM period: the enable line is up by then
_TICK_PULSE_US = const(900)
_SEEN_US = const(1300)  # five rounds of the external converter, the one under way before, a leg's filter
_GATES = ("A_HIGH", "A_LOW", "B_HIGH", "B_LOW")
_SLICES = const(0b10110)  # 1: leg A, 2: leg B, 4: trip level
_PIO0_RX0 = const(4)  # DMA request


# words of the kernels: addresses of registers, and what is in force
_SLICE_A = const(0)
_SLICE_B = const(1)
_PIO = const(2)
_ENTRY = const(3)  # the instruction that jumps to the program's start
_GATE = const(4)
_RAIL = const(5)
_CUT_COUNT = const(6)  # register that counts down with each cut period
_CUT_LAST = const(7)
_PINS_IN = const(8)
_LATCH_OK = const(9)  # mask of its pin
_FELL = const(10)  # what tells that it has fallen
_PIN_SET = const(11)
_PIN_CLEAR = const(12)
_PRECHARGE = const(13)  # masks of their pins
_MAIN = const(14)
PULSING = const(15)  # 1 while a pulse of the self-test is on
_PULSED = const(16)  # the place of its gate's register
_PULSE_BEGAN = const(17)
_TIMER = const(18)
_CONTROLS = const(19)  # the four gates' registers, in the order of _GATES
_COMPARE = const(23)  # register of the fast limit's level
_FINER = const(24)
_TRIP_N = const(25)  # mask of its pin
_WORDS = const(26)


@micropython.viper
def _halt(w: ptr32):
    # state machine 0: stop, bridge off, back to the first instruction, run again (and wait for a word).
    # An address as argument would be a heap object.
    pio = ptr32(w[_PIO])
    pio[regs.CLEAR_BITS >> 2] = 1
    pio[regs.PIO_INSTR0 >> 2] = 0xE000
    pio[regs.SET_BITS >> 2] = 1 << 4
    pio[regs.PIO_INSTR0 >> 2] = w[_ENTRY]
    pio[regs.SET_BITS >> 2] = 1


@micropython.viper
def _drive(w: ptr32, drive: int, gate: int):
    slice_a = ptr32(w[_SLICE_A])
    slice_b = ptr32(w[_SLICE_B])
    pio = ptr32(w[_PIO])
    if gate == 0:
        if w[_GATE]:
            w[_GATE] = 0
            _halt(w)
        slice_a[regs.PWM_COMPARE] = _OFF
        slice_b[regs.PWM_COMPARE] = _OFF
        return
    # compare register: high side in the low half, low side (inverted output) in the high half
    level = drive
    if drive < 0:
        level = 0 - drive
    level = (level * 5 + 4) >> 3
    level = (level << 16) | level
    if drive < 0:
        slice_a[regs.PWM_COMPARE] = 0
        slice_b[regs.PWM_COMPARE] = level
    else:
        slice_b[regs.PWM_COMPARE] = 0
        slice_a[regs.PWM_COMPARE] = level
    if w[_GATE]:
        pio[regs.PIO_INSTR0 >> 2] = 0xE020 | _CUTS  # set(x, _CUTS): a living tick renews the allowance
    else:
        w[_GATE] = 1
        pio[regs.PIO_TXF0 >> 2] = _CUTS


@micropython.viper
def _trips(w: ptr32) -> int:
    count = ptr32(w[_CUT_COUNT])
    now = count[0]
    cut = w[_CUT_LAST] - now
    w[_CUT_LAST] = now
    if w[_RAIL]:
        inputs = ptr32(w[_PINS_IN])
        if inputs[0] & w[_LATCH_OK] == 0:
            cut |= w[_FELL]
    return cut


@micropython.viper
def _rail(w: ptr32, mode: int):
    high = ptr32(w[_PIN_SET])
    low = ptr32(w[_PIN_CLEAR])
    w[_RAIL] = mode
    if mode == 2:
        high[0] = w[_MAIN]
    else:
        low[0] = w[_MAIN]
    if mode == 1:
        high[0] = w[_PRECHARGE]
    else:
        low[0] = w[_PRECHARGE]


@micropython.viper
def _pulse(w: ptr32, which: int):
    # the enable line up, and one gate alone high
    pio = ptr32(w[_PIO])
    pio[regs.PIO_TXF0 >> 2] = 0
    control = ptr32(w[_CONTROLS + which])
    control[0] = regs.FUNCTION_PWM | _OVERRIDE_HIGH
    timer = ptr32(w[_TIMER])
    w[_PULSE_BEGAN] = timer[0]
    w[_PULSED] = _CONTROLS + which
    w[PULSING] = 1


@micropython.viper
def _end_pulse(w: ptr32):
    w[PULSING] = 0
    control = ptr32(w[w[_PULSED]])
    control[0] = regs.FUNCTION_PWM
    _halt(w)


@micropython.viper
def watch_pulse(w: ptr32):
    """End a pulse of which this scan's five rounds see nothing but the pulse (called by the scan)."""
    timer = ptr32(w[_TIMER])
    if timer[0] - w[_PULSE_BEGAN] >= _SEEN_US:
        _end_pulse(w)


@micropython.viper
def _wait_us(timer: ptr32, us: int):
    begin = timer[0]
    while timer[0] - begin < us:
        pass


class Bridge:
    """Four gate inputs, their enable line, the rails and the hard latch. Everything is off after
    construction.
    """

    def __init__(self):
        for net in ("PRECHARGE", "MAIN_SWITCH", "LATCH_ARM", "TRIP_LEVEL") + _GATES:
            Pin(pins.gpio(net), Pin.OUT, value=0)
        self._latch_arm = Pin(pins.gpio("LATCH_ARM"))
        Pin(pins.gpio("LATCH_OK"), Pin.IN)
        self._slice_a = regs.PWM + regs.PWM_SLICE * 1
        self._slice_b = regs.PWM + regs.PWM_SLICE * 2
        self._trip = regs.PWM + regs.PWM_SLICE * 4
        self.words = array("I", [0] * _WORDS)
        self._start_slices()
        self._start_keeper()
        self._fill_words()
        self.drive, self.trips, self.trip_level, self.tripped = _calls(self.words)

    def _start_slices(self):
        for address in (self._slice_a, self._slice_b):
            self._slice(address, _INVERT_B, _TOP, _OFF)
        self._slice(self._trip, 0, _TRIP_TOP, 0)
        regs.poke(regs.PWM_ENABLE, _SLICES)  # at once, so that both legs count together
        for net in _GATES + ("TRIP_LEVEL",):
            regs.poke(regs.pad_control(pins.gpio(net)), regs.FUNCTION_PWM)

    @staticmethod
    def _slice(address, csr, top, compare):
        regs.poke(address, csr)
        regs.poke(address + 0x04, 1 << 4)
        regs.poke(address + 0x08, 0)
        regs.poke(address + 0x0C, compare)
        regs.poke(address + 0x10, top)

    def _start_keeper(self):
        trip = Pin(pins.gpio("TRIP_N"), Pin.IN, Pin.PULL_UP)
        enable = Pin(pins.gpio("BRIDGE_ENABLE"), Pin.OUT, value=0)
        pio = rp2.PIO(0)
        pio.remove_program()
        keeper = pio.state_machine(0, programs.keeper, set_base=enable, in_base=trip, jmp_pin=trip)
        self._entry = regs.peek(regs.PIO0 + 0xD4)  # where the program was placed: `jmp` to it has this code
        self._period_flag = array("I", [1 << programs.PERIOD_IRQ])
        self._clock, self._clock_plan = dma.ring(
            regs.DREQ_PWM_WRAP0 + 1, dma.WORDS, addressof(self._period_flag), regs.PIO0 + regs.PIO_IRQ_FORCE
        )
        dma.start(regs.DMA, self._clock_plan)
        self._cut_word = array("I", [0])
        self._cut_dma = rp2.DMA()
        control = self._cut_dma.pack_ctrl(
            size=dma.WORDS, treq_sel=_PIO0_RX0, inc_read=False, inc_write=False, irq_quiet=True
        )
        self._cut_dma.config(
            read=regs.PIO0 + regs.PIO_RXF0,
            write=self._cut_word,
            count=regs.DMA_COUNT_MAX,
            ctrl=control,
            trigger=True,
        )
        self._keeper = keeper
        keeper.active(1)

    def _fill_words(self):
        w = self.words
        w[_SLICE_A] = self._slice_a
        w[_SLICE_B] = self._slice_b
        w[_PIO] = regs.PIO0
        w[_ENTRY] = self._entry
        w[_CUT_COUNT] = regs.DMA + 0x40 * self._cut_dma.channel + 8
        w[_CUT_LAST] = regs.DMA_COUNT_MAX
        w[_PINS_IN] = regs.PIN_IN
        w[_LATCH_OK] = 1 << pins.gpio("LATCH_OK")
        w[_FELL] = channels.LATCH_FELL
        w[_TIMER] = regs.TIMER_RAW_LOW
        for i, net in enumerate(_GATES):
            w[_CONTROLS + i] = regs.pad_control(pins.gpio(net))
        w[_PIN_SET] = regs.PIN_SET
        w[_PIN_CLEAR] = regs.PIN_CLEAR
        w[_PRECHARGE] = 1 << pins.gpio("PRECHARGE")
        w[_MAIN] = 1 << pins.gpio("MAIN_SWITCH")
        w[_COMPARE] = self._trip + 12
        w[_FINER] = 1
        w[_TRIP_N] = 1 << pins.gpio("TRIP_N")

    def scale(self, finer):
        """Let the fast limit's level be that of a board with ``finer`` current ranges (channels.FINER)."""
        self.words[_FINER] = finer

    def rail(self, mode):
        """0 open, 1 precharge (and the hard latch set anew), 2 main switch."""
        if mode == 1 and self.words[_RAIL] == 0:
            self._latch_arm(1)
            self._latch_arm(0)
        _rail(self.words, mode)

    def pulse(self, leg, side, us):
        """One MOSFET alone on for `us` (at most 1000), everything off before and after.

        A pulse of nearly a tick ends with the second scan from here, in just under 2 ms: then that scan's
        readings are all of the pulse, wherever in the tick it began, and no tick is late. A shorted MOSFET is
        what the PIO is there for, and it stands no second trip.
        """
        self.drive(0, 0)
        _pulse(self.words, 2 * leg + (1 - side))
        if us < _TICK_PULSE_US:
            _wait_us(regs.TIMER_RAW_LOW, _SETTLE_US + us)
            self.end_pulse()

    def end_pulse(self):
        """End the pulse under way."""
        _end_pulse(self.words)

    def off(self):
        """Everything that can move or heat something is off; works in any state."""
        self.words[_GATE] = 1
        self.drive(0, 0)
        self.rail(0)

    def close(self):
        """Off, and the pins back to inputs, held low by the board."""
        self.off()
        self._keeper.active(0)
        for net in ("BRIDGE_ENABLE",) + _GATES:
            Pin(pins.gpio(net), Pin.IN, Pin.PULL_DOWN)
        dma.stop(regs.DMA, self._clock_plan)
        for channel in self._clock + (self._cut_dma,):
            channel.close()


def _calls(words):
    # what the tick calls, as functions of their own: see compat.py on the cost of names

    @micropython.viper
    def drive(drive: int, gate: int):
        """Duty and polarity from the next PWM period on; gate 0: enable line low at once, all gates low."""
        w = ptr32(words)
        _drive(w, drive, gate)

    @micropython.viper
    def trips() -> int:
        """PWM periods cut since the last call, and LATCH_FELL while the hard latch has fallen."""
        w = ptr32(words)
        cut = int(_trips(w))
        return cut

    @micropython.viper
    def trip_level(ma: int):
        """Comparator threshold: 1.65 V + 20 mV/A (hardware/calc/trip.py; times ``finer``) as a fraction
        of 3.3 V; from -80 A on.
        """
        w = ptr32(words)
        compare = ptr32(w[_COMPARE])
        compare[0] = ((82500 + ma * w[_FINER]) * (_TRIP_TOP + 1) + 82500) // 165000

    @micropython.viper
    def tripped() -> int:
        """1 while a comparator trips, at this very moment."""
        w = ptr32(words)
        inputs = ptr32(w[_PINS_IN])
        return int(inputs[0] & w[_TRIP_N] == 0)

    return drive, trips, trip_level, tripped

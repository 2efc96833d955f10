"""The Raspberry Pi Pico as a bench's board. Only the files of this folder touch machine and rp2."""

import time
from array import array

import machine
import micropython
from machine import Pin, Signal
from micropython import const

from strokefw import state
from strokefw.channels import FEW, FINER
from strokefw.compat import keep_bound, ptr16, ptr32
from strokefw.pico import bridge as bridge_kernels
from strokefw.pico import pins, regs
from strokefw.pico import scan as kernels
from strokefw.pico.bridge import PULSING, Bridge
from strokefw.pico.burst import RUNNING, Burst
from strokefw.pico.converters import ChipConverter, ExternalConverter
from strokefw.pico.port import open_link
from strokefw.slots import Slots

_watch_pulse = bridge_kernels.watch_pulse
_chip = kernels.chip
_external = kernels.external
# The watchdog's scratch registers outlive any reset but the power's and the RUN pin's (datasheet, 4.7).
# The boot code has 4 to 7. Ours: in 0 the mark that we ran and the first halfword kept, the rest in 1 to 3.
_WATCHDOG_MS = const(1000)
_FLASH_MS = const(8388)  # the longest it can wait: for twenty sectors, at 400 ms each, the flash's worst
_RUNNING = const(0x57B)  # left in half a scratch register, which only loses it with the power
_ENDED = const(0x57C)  # the same, once this firmware has ended in good order
_STACK = const(0x20040100)  # MicroPython's own, the last 8 kB of the memory but for a rest at the bottom
_STACK_BYTES = const(7936)
_STACK_MARGIN = const(256)  # for the painter itself


def _leave(mark):
    regs.poke(regs.SCRATCH, regs.peek(regs.SCRATCH) & ~0xFFFF | mark)


class Board:
    """The Board interface on the chip. After construction everything is off and the converters run."""

    def __init__(self):
        self._cause = self._find_cause()
        # What is free of the stack is painted. MicroPython itself raises an exception before it is full.
        regs.paint(_STACK, (_STACK_BYTES - micropython.stack_use() - _STACK_MARGIN) // 4)
        self._bridge = Bridge()
        self._work = array("I", [0] * kernels.WORDS)
        self._adc = ChipConverter(self._work)
        self._burst = Burst(self._adc)
        self._alive = Pin(pins.gpio("WATCHDOG"), Pin.OUT, value=0)
        self._leds = (Pin(pins.gpio("LED"), Pin.OUT, value=0), Pin(pins.BOARD_LED, Pin.OUT, value=0))
        self._kind = self._find_kind()
        few = self._kind == FEW
        self._converter = None if few else ExternalConverter(self._work)
        line = Pin(pins.gpio("ESTOP_OPEN"), Pin.IN, Pin.PULL_DOWN if few else Pin.PULL_UP)
        self._estop = Signal(line, invert=True) if few else line  # there the pin is high while it is closed
        self._bridge.scale(FINER[self._kind])
        self._slots = Slots("/slots")
        self._link = open_link()
        self._dog = None
        self._timer = machine.Timer()
        self._tick = None
        # the tick's calls go straight to the parts
        self.scan = _scanner(self._bridge, self._burst, self._work)
        self.drive = self._bridge.drive
        self.trips = self._bridge.trips
        self.trip_level = self._bridge.trip_level
        self.tripped = self._bridge.tripped
        self.rail = self._bridge.rail
        self.pulse = self._bridge.pulse
        self.estop = self._estop.value
        self.ticks_us = time.ticks_us
        self.keep = _keeper()
        self.burst_start = self._burst.start
        self.burst_trigger = self._burst.trigger
        self.burst_ready = self._burst.ready
        self.burst_copy = self._burst.copy
        self._raw = None
        self.write = self._link.write
        keep_bound(self, "led")

    @staticmethod
    def _find_cause():
        # The register with the reason keeps it until the next reset of the chip: a start at the prompt would
        # see it again. So it counts only when this firmware was cut off.
        left = regs.peek(regs.SCRATCH) & 0xFFFF
        _leave(_RUNNING)
        reason = regs.peek(regs.WATCHDOG + 8)
        if reason & 1 and left == _RUNNING:  # its time ran out; bit 1: somebody asked for a reset
            return state.RESET_WATCHDOG
        return state.RESET_SOFT if reason or left in (_RUNNING, _ENDED) else state.RESET_POWER_ON

    def _find_kind(self):
        strap = Pin(pins.gpio("BOARD_KIND"), Pin.IN, Pin.PULL_UP)
        time.sleep_us(50)
        with_up = strap()
        strap.init(Pin.IN, Pin.PULL_DOWN)
        time.sleep_us(50)
        if with_up != strap():
            return 3  # follows the pull: nothing is there, a bare board
        if with_up:
            return 1
        # low: ground, or the lamp's own line, which a 10k resistor makes stronger than the pull
        lamp = self._leds[0]
        lamp(1)
        time.sleep_us(50)
        follows = strap()
        lamp(0)
        return 4 if follows else 0

    @micropython.native
    def led(self, on):
        """The front lamp and the one on the Pico."""
        self._leds[0](on)
        self._leds[1](on)

    @micropython.native
    def watchdog(self):
        """One sign of life: an edge for the board's watchdog, and the chip's own is fed."""
        self._alive(1)
        if self._dog is not None:
            self._dog.feed()
        self._alive(0)

    def read(self, buf):
        """Link bytes in; returns how many. Also sets the converter right, should it ever have lost a
        reading.
        """
        if self._adc.mend() and self._raw is not None:
            self._raw.gap()
        return self._link.read(buf)

    def raw_start(self, channel, rate_hz):
        """Begin an endless stream of a chip channel (0..2); returns its rate in Hz, 0 = not now."""
        if self._raw is None:
            from strokefw.pico.raw import Raw  # loaded only here: memory

            self._raw = raw = Raw(self._burst, self._work, time.ticks_us)
            self.raw_stop = raw.stop
            self.raw_head = raw.head
            self.raw_oldest = raw.oldest
            self.raw_copy = raw.copy
        return self._raw.start(channel, rate_hz)

    def reset_cause(self):
        """0 power-on, 1 watchdog, 2 soft reset, 3 other."""
        return self._cause

    def load(self, slot):
        """A stored record, or None."""
        return self._slots.load(slot)

    def store(self, slot, data):
        """Keep a record: each ``next`` writes a piece, True comes when it outlives the power.

        The flash stops the chip while it erases, so there are no ticks meanwhile, and none are made up for.
        Not while anything may be driven.
        """
        pieces = self._slots.storing(slot, data)
        while True:
            self._stand_still()
            try:
                safe = next(pieces)
            except StopIteration:
                return
            finally:
                self._go_on()
            yield safe

    def _stand_still(self):
        self._timer.deinit()
        if self._dog is not None:
            self._dog = machine.WDT(timeout=_FLASH_MS)

    def _go_on(self):
        if self._dog is not None:
            self._dog = machine.WDT(timeout=_WATCHDOG_MS)
        if self._tick is not None:
            self._timer.init(
                mode=machine.Timer.PERIODIC,
                period=self._period_us,
                tick_hz=1000000,
                callback=self._on_timer,
                hard=True,
            )

    def stack_max(self):
        """The most bytes of stack ever in use, every interrupt included."""
        return _STACK_BYTES - 4 * regs.painted(_STACK)

    def kept(self, record):
        """What was kept over a reset, or anything."""
        for i in range(len(record)):
            register = regs.peek(regs.SCRATCH + 4 * ((i + 1) // 2))
            record[i] = register >> (16 if i % 2 == 0 else 0) & 0xFFFF

    def uid(self):
        """Eight bytes that are this Pico's own."""
        return machine.unique_id()

    def kind(self):
        """0 reference bench, 1 small bench, 3 bare board, 4 beginner's bench."""
        return self._kind

    def start(self, tick, period_us=1000):
        """Call `tick` from the hardware timer every `period_us`, and let the chip's watchdog run."""
        self._tick = tick
        self._period_us = period_us
        self._dog = machine.WDT(timeout=_WATCHDOG_MS)
        self._go_on()

    @micropython.native
    def _on_timer(self, timer):
        done = False
        try:
            self._tick()
            done = True
        finally:
            if not done:
                self._bridge.off()  # the timer stops after an exception; the watchdog then resets the chip

    def hold(self):
        """Bridge and rails off, and no tick any more: for good, until the next reset. Link, lamp and watchdog
        go on.
        """
        self._timer.deinit()
        self._bridge.off()
        self._tick = None

    def repl_wanted(self, allowed):
        """Whether the laptop asked for the REPL; while that is not allowed the wish is forgotten."""
        if self._link.repl_wanted and not allowed:
            self._link.repl_wanted = False
        return self._link.repl_wanted

    def close(self):
        """Bridge and rails off, timer, DMA and PIO stopped, chip watchdog off, Ctrl-C alive: fit for the
        REPL.
        """
        self._bridge.off()
        self._timer.deinit()
        regs.poke(regs.WATCHDOG + regs.CLEAR_BITS, 1 << 30)
        _leave(_ENDED)
        self._dog = None
        self._bridge.close()
        if self._converter is not None:
            self._converter.close()
        self._adc.close()
        self._burst.close()
        self._link.close()


def _keeper():
    @micropython.viper
    def keep(record: ptr16):
        """Keep seven halfwords in the watchdog's scratch registers."""
        scratch = ptr32(regs.SCRATCH)
        scratch[0] = int(record[0]) << 16 | _RUNNING
        for i in range(1, 4):
            scratch[i] = int(record[2 * i - 1]) | int(record[2 * i]) << 16

    return keep


def _scanner(bridge, burst, work):
    needs = work, bridge.words, burst.words, burst  # see compat.py on the cost of names

    @micropython.viper
    def scan(counts):
        """One tick's readings into `counts`. Allocates nothing."""
        work, in_force, captured, burst = needs
        sums = ptr32(work)
        found = ptr16(counts)
        pulse = ptr32(in_force)
        capture = ptr32(captured)
        if pulse[PULSING]:
            _watch_pulse(pulse)
        if capture[RUNNING]:
            burst.scan(counts)
        else:
            _chip(sums, found)
        if sums[kernels.EXTERNAL_FIRST]:
            _external(sums, found)

    return scan

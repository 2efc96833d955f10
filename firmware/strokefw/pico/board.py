"""The Raspberry Pi Pico as a bench's board. Only the files of this folder touch machine and rp2."""

import time
from array import array

import machine
import micropython
from machine import Pin
from micropython import const

from strokefw.channels import FINER
from strokefw.compat import keep_bound, ptr16, ptr32
from strokefw.pico import pins, regs
from strokefw.pico import scan as kernels
from strokefw.pico.bridge import Bridge
from strokefw.pico.burst import RUNNING, Burst
from strokefw.pico.converters import ChipConverter, ExternalConverter
from strokefw.pico.port import open_link
from strokefw.slots import Slots

_chip = kernels.chip
_external = kernels.external
_WATCHDOG_MS = const(1000)  # longer than the flash takes for a sector, interrupts off (400 ms at worst)
# The watchdog's scratch registers outlive any reset but the power's and the RUN pin's (datasheet, 4.7).
# boot code has 4 to 7. Ours: in 0 the mark that we ran, above it the first halfword; the rest in 1 to 3.
_RUNNING = const(0x057B)
POWER_ON, WATCHDOG, SOFT, OTHER = const(0), const(1), const(2), const(3)


class Board:
    """The Board interface on the chip. After construction everything is off and the converters run."""

    def __init__(self):
        self._cause = self._find_cause()
        self._bridge = Bridge()
        self._work = array("I", [0] * kernels.WORDS)
        self._adc = ChipConverter(self._work)
        self._burst = Burst(self._adc)
        self._converter = ExternalConverter(self._work)
        self._alive = Pin(pins.gpio("WATCHDOG"), Pin.OUT, value=0)
        self._leds = (Pin(pins.gpio("LED"), Pin.OUT, value=0), Pin(pins.BOARD_LED, Pin.OUT, value=0))
        self._estop = Pin(pins.gpio("ESTOP_OPEN"), Pin.IN, Pin.PULL_UP)
        self._kind = self._find_kind()
        self._bridge.finer = FINER[self._kind]
        self._slots = Slots("/slots")
        self._link = open_link()
        self._dog = None
        self._timer = machine.Timer()
        # the tick's calls go straight to the parts
        self.scan = _scanner(self._bridge, self._burst, self._work)
        self.drive = self._bridge.drive
        self.trips = self._bridge.trips
        self.trip_level = self._bridge.trip_level
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
        ran = regs.peek(regs.SCRATCH) & 0xFFFF == _RUNNING
        if not ran:
            regs.poke(regs.SCRATCH, _RUNNING)
        reason = regs.peek(regs.WATCHDOG + 8)
        if reason & 1:  # its time ran out; bit 1: somebody asked for a reset
            return WATCHDOG
        return SOFT if ran or reason else POWER_ON

    @staticmethod
    def _find_kind():
        strap = Pin(pins.gpio("BOARD_KIND"), Pin.IN, Pin.PULL_UP)
        time.sleep_us(50)
        with_up = strap()
        strap.init(Pin.IN, Pin.PULL_DOWN)
        time.sleep_us(50)
        if with_up == strap():
            return with_up
        return 3  # follows the pull: nothing is there, a bare board

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
        """Store a record. Ticks are late meanwhile: the flash stops the chip while it erases. Not while
        driving.
        """
        self._slots.store(slot, data)

    def kept(self, record):
        """What was kept over a reset, or anything."""
        for i in range(len(record)):
            register = regs.peek(regs.SCRATCH + 4 * ((i + 1) // 2))
            record[i] = register >> (16 if i % 2 == 0 else 0) & 0xFFFF

    def uid(self):
        """Eight bytes that are this Pico's own."""
        return machine.unique_id()

    def kind(self):
        """0 reference bench, 1 small bench, 3 bare board."""
        return self._kind

    def start(self, tick, period_us=1000):
        """Call `tick` from the hardware timer every `period_us`, and let the chip's watchdog run."""
        self._tick = tick
        self._dog = machine.WDT(timeout=_WATCHDOG_MS)
        self._timer.init(
            mode=machine.Timer.PERIODIC, period=period_us, tick_hz=1000000, callback=self._on_timer, hard=True
        )

    def _on_timer(self, timer):
        try:
            self._tick()
        except BaseException:
            self._bridge.off()  # the timer stops after an exception; the watchdog then resets the chip
            raise

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
        self._dog = None
        self._bridge.close()
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
    needs = bridge, burst, burst.words, work  # as locals: see compat.py on the cost of names

    @micropython.native
    def scan(counts, needs=needs):
        """One tick's readings into `counts`. Allocates nothing."""
        bridge, burst, captured, work = needs
        if bridge.pulsing:
            bridge.watch_pulse()
        if captured[RUNNING]:
            burst.scan(counts)
        else:
            _chip(work, counts)
        _external(work, counts)

    return scan

"""The time that the Pico's flash chip takes to erase and to program.

rp2040py 0.3 does both at once. On the chip the boot ROM's routine asks the flash until BUSY is clear, with
interrupts off, because nothing can be read from a flash that is busy. Not modelled: reading it all the same,
and a supply or reset lost in the middle (the bytes change as the command ends).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

if TYPE_CHECKING:
    from rp2040py.rp2040 import RP2040

PROGRAM, SECTOR_ERASE, BLOCK_ERASE, READ_STATUS = 0x02, 0x20, 0xD8, 0x05
BUSY = 1 << 0
"""Status register 1 (W25Q16JV datasheet, 7.1)."""
CYCLE_NS = 8.0
PIO_CYCLES = 63
"""Processor cycles that pass at once: no more than an instruction of the converter's PIO program takes, to
half a cycle. The emulated PIO executes one instruction at a time."""
PASS_NS = 1e6


class FlashTimes(NamedTuple):
    """In ms: of a page of 256 bytes, a sector of 4 KiB, a block of 64 KiB."""

    program_ms: float
    sector_erase_ms: float
    block_erase_ms: float


TYPICAL = FlashTimes(0.4, 45.0, 150.0)
WORST = FlashTimes(3.0, 400.0, 2000.0)
"""Winbond W25Q16JV datasheet, AC electrical characteristics: tPP, tSE, tBE2, typical and maximum."""
AT_ONCE = FlashTimes(0.0, 0.0, 0.0)


class Flash:
    """The flash chip of ``mcu``; ``times`` may be changed at any time. ``erases``, ``programs`` count."""

    def __init__(self, mcu: RP2040, times: FlashTimes = TYPICAL) -> None:
        self.times = times
        self.erases = self.programs = 0
        self._mcu = mcu
        self._ssi: Any = mcu.ssi
        self._clock: Any = mcu.clock
        self._pios: Any = mcu.pio
        self._ready_ns = 0.0
        self._shift, self._ssi._shift_byte = self._ssi._shift_byte, self._on_byte
        self._apply, self._ssi._apply_command = self._ssi._apply_command, self._on_command

    @property
    def busy(self) -> bool:
        """Whether it erases or programs."""
        return bool(self._clock.nanos < self._ready_ns)

    def _on_command(self) -> None:
        code = self._ssi._tx_buffer[0] if self._ssi._tx_buffer else 0
        obeyed = self._ssi._write_enabled
        self._apply()
        if not obeyed or code not in (PROGRAM, SECTOR_ERASE, BLOCK_ERASE):
            return
        took_ms = self.times.program_ms
        if code == PROGRAM:
            self.programs += 1
        else:
            self.erases += 1
            took_ms = self.times.sector_erase_ms if code == SECTOR_ERASE else self.times.block_erase_ms
        self._ready_ns = self._clock.nanos + took_ms * 1e6

    def _on_byte(self, sent: int) -> int:
        answer = int(self._shift(sent))
        command = self._ssi._tx_buffer
        if len(command) < 2 or command[0] != READ_STATUS or not self.busy:
            return answer
        if self._mcu.core.pm:
            self._pass()
        return answer | (BUSY if self.busy else 0)

    def _pass(self) -> None:
        """Let time pass for all but the processor, which does nothing but ask: a short way through."""
        end_ns = min(self._ready_ns, self._clock.nanos + PASS_NS)
        core, tick = self._mcu.core, self._clock.tick
        pios = [pio for pio in self._pios if not pio.stopped]
        step_ns = PIO_CYCLES * CYCLE_NS if pios else PASS_NS
        while self._clock.nanos < end_ns and core.pm:  # a reset by the watchdog clears pm
            tick(min(step_ns, end_ns - self._clock.nanos))
            for pio in pios:
                pio.advance(PIO_CYCLES)

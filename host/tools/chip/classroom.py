"""The classroom's way on the emulated chip: a bare Pico, its readings from the plant, over its own USB.

Nothing is on its pins: no converter, no strap, no supply. What comes out must be the bytes of the simulation.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from strokebench.bench.bench import Bench
from strokebench.bench.spec import SimSpec
from strokebench.data.samples import Samples
from strokebench.image import files as chip_files
from strokebench.link.port import Port
from strokebench.parts import load_part
from strokebench.parts.procedure import Procedure
from strokebench.sim import open_port
from strokebench.sim.chip import peripherals
from strokebench.sim.chip.machine import ChipMachine
from strokebench.sim.engine.plant_port import PlantPort
from strokefw.pico import pins

OUTPUTS = ("A_HIGH", "A_LOW", "B_HIGH", "B_LOW", "BRIDGE_ENABLE", "PRECHARGE", "MAIN_SWITCH", "LATCH_ARM")
SPEC = SimSpec("throttle-body", seed=3)
CHECKED_S = 2.0
"""The check after power-up, which finds no supply, is over by then."""
SEGMENTS = [
    {"kind": "ramp", "to": 0.5, "over_s": 0.15},
    {"kind": "burst", "channel": "current_fine", "rate_hz": 100_000, "count": 1000, "pre": 200},
    {"kind": "ramp", "to": 0.0, "over_s": 0.1},
]


class BarePico:
    """A :class:`strokebench.link.port.Port` to a Pico with nothing but a USB cable; its clock is the chip's.

    ``rises`` collects the outputs that went high.
    """

    def __init__(self, image: str | Path) -> None:
        files = chip_files.precompiled(chip_files.firmware_sources())
        self.machine = ChipMachine(image, chip_files.filesystem(files))
        mcu = self.machine.mcu
        peripherals.mend_converter(mcu)
        peripherals.mend_pwm_requests(mcu)
        peripherals.mend_fifos(mcu)
        peripherals.ChipInputs(mcu, lambda _channel: 0)
        self.rises: list[str] = []
        for net in OUTPUTS:
            mcu.gpio[pins.gpio(net)].add_listener(self._watch(net))
        self.machine.wait_for_usb()

    def _watch(self, net: str) -> Callable[[int, int], None]:
        def changed(value: int, _last: int) -> None:
            if value == 1:
                self.rises.append(net)

        return changed

    def read(self, timeout_s: float) -> bytes:
        """Let emulated time pass until something comes."""
        inbox = self.machine.usb.inbox
        self.machine.run(timeout_s, lambda: inbox)
        return self.machine.usb.take()

    def write(self, data: bytes) -> None:
        """Hand it to the chip's USB."""
        self.machine.usb.send(data)

    def close(self) -> None:
        """Nothing to let go of."""

    def now(self) -> float:
        """Emulated seconds."""
        return self.machine.now_s


@dataclass(frozen=True)
class Lesson:
    """The same stroke on the Pico and in the simulation."""

    samples: Samples
    expected: Samples
    burst_same: bool
    bench_s: float  # from the simulated power-up to the end
    took_s: float  # of the chip's time
    rises: list[str]

    @property
    def same(self) -> bool:
        """Whether every number is the simulation's."""
        return self.burst_same and np.array_equal(self.samples, self.expected)


def lesson(image: str | Path) -> Lesson:
    """Stroke on a bare emulated Pico; about three minutes."""
    pico = BarePico(image)
    pico.machine.run(CHECKED_S)
    expected, expected_burst = _stroke(open_port(SPEC))
    pico.rises.clear()
    began_s = pico.now()
    port = PlantPort(SPEC, pipe=pico)
    samples, burst = _stroke(port)
    same = len(burst) == 1000 and np.array_equal(burst, expected_burst)
    return Lesson(samples, expected, same, port.board.tick / 1000, pico.now() - began_s, pico.rises)


def _stroke(port: Port) -> tuple[Samples, np.ndarray]:
    with Bench(port, "class", "plant") as bench:
        bench.set_limits(load_part("throttle-body").limits)
        bench.arm()
        run = bench.run(Procedure.model_validate({"title": "stroke", "segments": SEGMENTS}))
        samples = np.concatenate(list(run))
    (burst,) = run.bursts
    return samples, burst.values


def rows(image: Path) -> Iterator[tuple[str, str]]:
    """Rows of the chip's report."""
    found = lesson(image)
    compared = "numbers equal to those in process" if found.same else "numbers NOT equal to those in process"
    yield "class with a bare Pico: a stroke with a burst", f"{compared}, {len(found.samples)} rows"
    pace = f"{found.bench_s:.2f} s of the bench took {found.took_s:.2f} s of the Pico, over USB"
    yield "class with a bare Pico: time from power-up to the end", pace
    yield "class with a bare Pico: edges on gates, enable line, switches and latch", str(len(found.rises))

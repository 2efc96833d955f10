"""The whole firmware on the emulated chip: from power-up to driving, through its USB port."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest
from strokebench.bench import Bench
from strokebench.parts import load_part
from strokebench.procedure import Procedure
from strokebench.sim import chip
from strokebench.sim.chip import ChipPort
from strokebench.sim.chip_drive import drive
from strokebench.sim.chip_machine import ChipUnavailable
from strokebench.sim.chip_world import ROUND_ROBIN_SHIFT, ChipWorld
from strokebench.sim.spec import SimSpec

pytestmark = pytest.mark.chip
READY_S = 2.0
HEAP_FREE = 100_000
LONGEST_BURST = 50_000
RATE_HZ = 500_000
REST_S = 0.4
TICK_MEAN_US = 500


@pytest.fixture(scope="module")
def ready() -> Iterator[tuple[Bench, float]]:
    """A bench that has passed its power-up test, and the emulated seconds that it took."""
    try:
        port = ChipPort(SimSpec("throttle-body"), chip.find_image())
    except ChipUnavailable as why:
        pytest.skip(f"emulated chip: {why}")
    bridge = port.world.board.bridge
    for mode in (1, 0):  # the self-test precharges, then opens the supply again: it is over
        port.machine.run(3, lambda mode=mode: bridge.rail == mode)  # type: ignore[misc]
    took_s = port.now()
    bench = Bench(port, "emulated chip", "chip")
    yield bench, took_s
    port.close()


def test_ready_in_time_with_memory_to_spare(ready: tuple[Bench, float]) -> None:
    bench, took_s = ready
    status = bench.status()
    assert status.state == "ready" and status.fault == 0
    assert took_s <= READY_S
    assert status.counters["heap_free"] >= HEAP_FREE


@pytest.mark.parametrize(
    "seconds",
    [1.0, pytest.param(10.0, marks=pytest.mark.long), pytest.param(60.0, marks=pytest.mark.long)],
)
def test_drives_with_every_row_sent_and_no_tick_missed(ready: tuple[Bench, float], seconds: float) -> None:
    bench, _ = ready
    found = drive(bench, seconds)
    assert len(found.samples) >= seconds * 1000
    assert found.lost_rows == found.gaps == 0
    counted = found.after.counters
    assert counted["overruns"] == counted["bad_frames"] == counted["lost_events"] == 0
    assert counted["tick_mean_us"] <= TICK_MEAN_US
    assert found.after.state == "armed"  # so the plate moved, was let go, and nothing tripped
    assert found.samples["sensor_a_v"].max() > found.samples["sensor_a_v"].min() + 1.0
    bench.stop_quietly()  # the next test arms anew, when the plate has come to rest:
    bench.link.port.machine.run(REST_S)  # while it falls back, it makes a voltage, and the self-test refuses


class Numbered:
    """Makes readings of the coarse current numbered ones, modulo a prime, in bursts from the second on."""

    PRIME = 61  # no piece of memory is a multiple of it

    def __init__(self, world: ChipWorld) -> None:
        self._adc: Any = world.machine.mcu.adc
        self._usual = world.inputs._code
        self._alone = False
        self._bursts = self._number = 0
        world.inputs._code = self._code

    def _code(self, channel: int) -> int:
        alone = not self._adc.cs >> ROUND_ROBIN_SHIFT & 31
        self._bursts += alone and not self._alone
        self._alone = alone
        if not alone or self._bursts < 2:
            return self._usual(channel)
        self._number += 1
        return 2048 + self._number % self.PRIME  # up to 1.8 A


def test_bursts_at_the_full_rate_are_intact(ready: tuple[Bench, float]) -> None:
    """A short one shows the bridge's own ripple; in the longest each reading is the next one's neighbour."""
    bench, _ = ready
    Numbered(bench.link.port.world)
    segments: list[dict[str, object]] = [{"kind": "ramp", "to": 0.3, "over_s": 0.2}]
    for count in (5000, LONGEST_BURST):
        segments.append({"kind": "burst", "channel": "current_coarse", "rate_hz": RATE_HZ, "count": count})
    segments.append({"kind": "ramp", "to": 0.0, "over_s": 0.1})
    plan = Procedure.model_validate({"title": "bursts", "segments": segments}).plan()
    bench.set_limits(load_part("throttle-body").limits)
    bench.arm()
    run = bench.run(plan)
    rows = np.concatenate(list(run))
    rippling, numbered = run.data(rows).bursts
    assert rippling.rate_hz == numbered.rate_hz == RATE_HZ
    spectrum = np.abs(np.fft.rfft(rippling.values - rippling.values.mean()))
    assert np.argmax(spectrum) * RATE_HZ / len(rippling.values) == 20_000
    assert len(numbered.values) == LONGEST_BURST
    levels, numbers = np.unique(numbered.values, return_inverse=True)
    assert len(levels) == Numbered.PRIME
    assert np.all(np.diff(numbers) % Numbered.PRIME == 1), "readings are missing or out of place"
    assert run.lost_rows == 0 and bench.status().counters["overruns"] == 0

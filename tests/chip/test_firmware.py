"""The whole firmware on the emulated chip: from power-up to driving, through its USB port."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pytest
from strokebench.bench import Bench
from strokebench.parts import load_part
from strokebench.procedure import Procedure
from strokebench.sim import chip
from strokebench.sim.chip import ChipPort
from strokebench.sim.chip_drive import drive
from strokebench.sim.chip_machine import ChipUnavailable
from strokebench.sim.spec import SimSpec

pytestmark = pytest.mark.chip
READY_S = 2.0
HEAP_FREE = 100_000
LONG_BURST = 40_200
"""Goal 50 000: that much of the heap is free, but not in pieces that hold it and leave room to work."""
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


def test_a_long_burst_at_the_full_rate_is_intact(ready: tuple[Bench, float]) -> None:
    """40 200 readings at 500 kS/s: whole, in order (the PWM's ripple goes through it in one phase)."""
    bench, _ = ready
    segments = [
        {"kind": "ramp", "to": 0.3, "over_s": 0.2},
        {"kind": "burst", "channel": "current_coarse", "rate_hz": 500_000, "count": LONG_BURST},
        {"kind": "ramp", "to": 0.0, "over_s": 0.1},
    ]
    plan = Procedure.model_validate({"title": "burst", "segments": segments}).plan()
    bench.set_limits(load_part("throttle-body").limits)
    bench.arm()
    run = bench.run(plan)
    rows = np.concatenate(list(run))
    (burst,) = run.data(rows).bursts
    assert burst.rate_hz == 500_000 and len(burst.values) == LONG_BURST and np.isfinite(burst.values).all()
    # 16 windows of 100 periods, about as long as the pieces of memory; a piece is no whole number of periods
    # long (2563 readings), so one that is missing or out of place shifts the phase by half a turn
    amps = burst.values[: 16 * 2500] - burst.values.mean()
    turns = np.exp(-2j * np.pi * 20_000 / 500_000 * np.arange(len(amps))) * amps
    phases = np.angle(turns.reshape(16, -1).sum(axis=1))
    assert np.ptp(np.unwrap(phases)) < 0.5, "a piece is missing or out of place"
    spectrum = np.abs(np.fft.rfft(amps))
    assert np.argmax(spectrum) * 500_000 / len(amps) == 20_000
    assert run.lost_rows == 0 and bench.status().counters["overruns"] == 0

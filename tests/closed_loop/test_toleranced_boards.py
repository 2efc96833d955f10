"""The firmware on boards whose comparators are off by as much as tolerances allow, and by more."""

from __future__ import annotations

import pytest
from strokebench.bench.bench import open_bench
from strokebench.bench.spec import SimSpec
from strokebench.data.findings import Verdict
from strokebench.parts import load_part
from strokebench.sim.board.board import SimBoard
from strokebench.sim.trials import stroke
from strokebench.verdict.examine import examine
from strokefw import faults

from hardware.twin import trip

PART = "solenoid"


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
    assert plant.trip_a == pytest.approx(profile.limits.current_max_a + off_by(bench, high), abs=0.002)
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


@pytest.mark.parametrize("trouble", ["comparator_dead", "comparator_off=20", "comparator_off=-2.5"])
def test_what_the_self_test_cannot_see_yet(trouble: str) -> None:
    """A limit, as docs/safety.md says: nothing measures the comparator's edges before arming."""
    with open_bench(sim=SimSpec(PART, 20_007, bench_faults=(trouble,))) as bench:
        bench.set_limits(load_part(PART).limits)
        bench.arm()  # raises Refused with the check that failed
        assert bench.status().state == "armed" and bench.status().fault == 0


def test_a_comparator_that_trips_far_too_early_ends_the_run_and_passes_nothing() -> None:
    """Nothing measures its edges before arming: the fast limit itself is what ends it."""
    run, profile, plant = stroke(SimSpec(PART, 20_003, bench_faults=("comparator_off=-2.7",)))
    assert plant.trip_a == pytest.approx(0.3, abs=0.01)
    assert faults.TRIPS in {event.code for event in run.events}
    assert examine(run, profile)[1] is not Verdict.PASS

"""The small bench is a bench like the other: parts run on it, too much is refused by its name."""

from __future__ import annotations

import json
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest
from strokebench.bench.bench import open_bench
from strokebench.bench.budget import budget_of
from strokebench.bench.spec import SimSpec
from strokebench.cli import main
from strokebench.data.findings import Verdict
from strokebench.data.run import RunData
from strokebench.errors import LinkError, UsageError
from strokebench.measure import limits_for, measure
from strokebench.parts import load_part
from strokebench.parts.on_bench import on_bench
from strokebench.parts.profile import Profile
from strokebench.sim import open_port
from strokebench.sim.engine import micropython
from strokebench.sim.plants.stage import SMALL
from strokebench.sim.trials import stroke
from strokebench.verdict.examine import examine

from tests.helpers.strokes import stroked_bytes

BOARD = "small bench"
FOR_IT = ("throttle-body", "egr-motor", "egr-solenoid", "solenoid", "idle-actuator")
TOO_MUCH = ("cooling-fan", "fuel-pump", "fuel-pump-fuse", "water-pump", "wiring")
WITHIN = {"current_max_a": 5.8, "current_mean_a": 4.8, "stall_a": 4.0}
SLOW = ("throttle-body", "egr-motor", "egr-solenoid")


def spec(part: str, seed: int = 20_001, **more: object) -> SimSpec:
    """The small bench with a part; the seed is none that anything was tuned on."""
    return SimSpec(part, seed, bench="small", **more)  # type: ignore[arg-type]


def ran(part: str, *faults: str) -> tuple[RunData, Profile]:
    """The part's own procedure, and the profile as the bench made of it."""
    run, profile, _plant = stroke(spec(part, faults=faults))
    return run, profile


@pytest.mark.parametrize(
    "part", [pytest.param(p, marks=[pytest.mark.slow] if p in SLOW else []) for p in FOR_IT]
)
def test_a_good_part_of_its_size_passes(part: str) -> None:
    run, profile = ran(part)
    findings, verdict = examine(run, profile)
    assert verdict is Verdict.PASS, [f for f in findings if f.verdict not in (Verdict.PASS, Verdict.INFO)]
    assert run.info["identity"]["board"] == BOARD
    assert float(np.max(np.abs(run.samples["current_a"]))) < 1.05 * profile.limits.current_mean_a


def test_a_defect_is_found_and_named() -> None:
    run, profile = ran("solenoid", "shorted_turns:severe")
    findings, verdict = examine(run, profile)
    assert verdict is Verdict.FAIL
    assert "shorted_turns" in {finding.fault for finding in findings if finding.verdict is Verdict.FAIL}


@pytest.mark.parametrize("part", TOO_MUCH)
def test_a_part_that_needs_more_is_refused_by_the_name_of_the_limit(part: str) -> None:
    with open_bench(sim=spec(part)) as bench, pytest.raises(UsageError) as refused:
        bench.set_limits(on_bench(load_part(part), bench.identity.board).limits)
    assert "limits.current_max_a" in str(refused.value) and "6 A" in str(refused.value)


@pytest.mark.parametrize(
    ("field", "value"), [("current_mean_a", 5.5), ("i2t_part_rest_a", 5.5), ("supply_min_v", 7.9)]
)
def test_every_limit_beyond_it_is_named(field: str, value: float) -> None:
    good = limits_for(5.0, 5.0)
    wrong = good.model_copy(update={field: value, "current_max_a": 6.0})
    with open_bench(sim=spec("solenoid")) as bench:
        bench.set_limits(good)
        with pytest.raises(UsageError, match=f"limits.{field} = {value:g}"):
            bench.set_limits(wrong)


def test_leads_that_bear_more_than_it_gives_are_no_reason_to_refuse() -> None:
    limits = load_part("solenoid").limits
    assert limits.i2t_leads_rest_a == 20.0
    with open_bench(sim=spec("solenoid")) as bench:
        assert bench.set_limits(limits)["i2t_leads_rest_ma"] == 5000


def test_a_bench_only_ever_tightens_a_profile() -> None:
    gentle = load_part("throttle-body")
    gentle = gentle.model_copy(
        update={"limits": gentle.limits.model_copy(update={"current_max_a": 4.0, "current_mean_a": 3.0})}
    )
    found = on_bench(gentle, BOARD)
    assert found.limits.current_max_a == 4.0 and found.limits.current_mean_a == 3.0
    assert found.limits.drive_max == pytest.approx(0.75 * gentle.limits.drive_max)
    assert on_bench(gentle, "reference bench") is gentle
    drives = [segment.target for segment in found.procedure.plan()]
    assert max(map(abs, drives)) <= found.limits.drive_max
    bursts = [segment for segment in found.procedure.plan() if segment.kind == "burst"]
    assert bursts[0].numbers[0] == 0, "the fine range of this bench would clip"


@pytest.mark.parametrize(("part", "allowed_a"), [("solenoid", 1.0), ("throttle-body", 3.0)])
def test_an_unknown_load_is_measured_with_its_own_ranges(part: str, allowed_a: float) -> None:
    with closing(open_port(spec(part))) as port:
        from strokebench.bench.bench import Bench

        with Bench(port, "small", "inprocess") as bench:
            load, run = measure(bench, allowed_a)
        plant = port.board.plant  # type: ignore[attr-defined]
    truth_ohm = plant._winding_ohm + plant.conditions.lead_ohm
    assert abs(load.resistance.value - truth_ohm) < max(3 * load.resistance.u, 0.02 * truth_ohm)
    assert load.inductance.value == pytest.approx(plant._inductance_h * 1e3, rel=0.15)
    assert load.highest_a < allowed_a
    assert budget_of(run.info).fine_limit_a == pytest.approx(0.64)


def test_more_than_the_bench_gives_is_refused_before_anything_flows() -> None:
    with open_bench(sim=spec("solenoid")) as bench, pytest.raises(UsageError) as refused:
        measure(bench, 8.0)
    assert "between 0.2 and 5 A" in refused.value.hint


def test_the_commands_reach_it(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["info", "--sim", "--bench", "small", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["identity"]["board"] == BOARD
    book = ["--book", str(tmp_path / "a.book")]
    assert main(["run", "wiring", "--sim", "--bench", "small", *book]) == 2
    assert "limits.current_max_a = 20" in capsys.readouterr().err


def test_nobody_simulates_a_third_bench() -> None:
    with pytest.raises(UsageError, match="no bench called 'huge'"):
        SimSpec(bench="huge")


def test_its_outputs_are_measured_behind_its_shunt_and_its_bus_is_not_chopped() -> None:
    with closing(open_port(spec("solenoid"))) as port:
        plant = port.board.plant  # type: ignore[attr-defined]
    plant.current_a = 4.0
    plant.bus_v = 12.0
    plant._drive_legs(1.0, 4.0)
    assert plant.leg_a_v == pytest.approx(12.0 - 4.0 * (SMALL.fet_ohm + SMALL.shunt_ohm))
    assert plant.leg_b_v == pytest.approx(4.0 * SMALL.fet_ohm)
    plant._pumped = False
    plant._settle_bus(-3.0, 2, 1e-3)
    assert plant.bus_v > plant.source_v, "its P-MOSFETs let a part feed the supply"
    plant._pumped = True
    plant._settle_bus(-200.0, 0, 1e-3)
    assert plant.bus_v == SMALL.clamp_v


def strokes(engine: str) -> bytes:
    """A short stroke's samples on an engine, as bytes."""
    return stroked_bytes(
        spec("throttle-body", engine=engine),
        WITHIN,
        {"kind": "ramp", "to": 0.4, "over_s": 0.2, "label": "up"},
        {"kind": "burst", "channel": "current_coarse", "rate_hz": 100_000, "count": 500, "label": "fast"},
        {"kind": "pause", "for_s": 0.1, "label": "off"},
    )


def test_micropython_gives_the_same_bytes() -> None:
    try:
        micropython.find_interpreter()
    except LinkError as why:
        pytest.skip(str(why))
    assert strokes("micropython") == strokes("inprocess")

"""The beginner's bench is a bench like the others: the parts it is offered for run, others are refused."""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest
from strokebench.bench.bench import Bench, open_bench
from strokebench.bench.budget import budget, budget_of
from strokebench.bench.spec import SimSpec
from strokebench.bringup.go import go
from strokebench.bringup.hands import LaboratoryHands
from strokebench.bringup.measures import Test as Bringup
from strokebench.bringup.record import Record
from strokebench.bringup.steps import load_steps
from strokebench.cli import main
from strokebench.data.findings import Verdict
from strokebench.diagnose.volts import with_volts
from strokebench.errors import LinkError, ProtectionTripped, Refused, UsageError
from strokebench.link.conversion import LACKS
from strokebench.measure import limits_for
from strokebench.parts import load_part
from strokebench.parts.on_bench import on_bench
from strokebench.sim.engine import micropython
from strokebench.sim.trials import stroke
from strokebench.verdict.examine import examine
from strokefw import faults

from tests.helpers.laboratory import bench_in_laboratory
from tests.helpers.strokes import procedure, stroked_bytes, throttle_limits

BOARD = "beginner bench"
SEED = 20_001
"""Nothing was tuned on it."""
FOR_IT = {
    "solenoid": "shorted_turns", "idle-actuator": "binding", "egr-solenoid": "shorted_turns",
    "throttle-body": "binding", "egr-motor": "binding",
}  # fmt: skip
"""Part -> a defect that is named when it is severe."""
TOO_MUCH = ("cooling-fan", "fuel-pump", "fuel-pump-fuse", "water-pump", "wiring")
QUICK = ("solenoid",)
PARTS = [pytest.param(part, marks=[] if part in QUICK else [pytest.mark.slow]) for part in FOR_IT]
REAL_ONLY = {
    "terminals_ohm", "precharge_ohm", "strap_ohm", "idle_a", "reference_v", "middle_v", "battery_ready",
}  # fmt: skip
WITHIN = {"current_max_a": 4.5, "current_mean_a": 2.9, "stall_a": 2.5, "i2t_part_rest_a": 2.9}


def wait(bench: Bench, seconds: float) -> None:
    """Let the bench's time pass."""
    until_s = bench.link.port.now() + seconds
    while bench.link.port.now() < until_s:
        bench.link.poll(0.5)


def spec(part: str = "solenoid", **more: object) -> SimSpec:
    """The beginner's bench with a part."""
    return SimSpec(part, SEED, bench="beginner", **more)  # type: ignore[arg-type]


@pytest.mark.parametrize("part", PARTS)
def test_a_good_part_passes_within_its_limits(part: str) -> None:
    run, profile, _plant = stroke(spec(part))
    findings, verdict = examine(run, profile)
    assert verdict is Verdict.PASS, [f for f in findings if f.verdict not in (Verdict.PASS, Verdict.INFO)]
    assert run.info["identity"]["board"] == BOARD
    assert profile.limits.current_max_a <= 5.0 and profile.limits.current_mean_a <= 3.0
    assert float(np.max(np.abs(run.samples["current_a"]))) < 5.0


@pytest.mark.parametrize("part", PARTS)
def test_a_severe_defect_is_named(part: str) -> None:
    run, profile, _plant = stroke(spec(part, faults=(f"{FOR_IT[part]}:severe",)))
    findings, verdict = examine(run, profile)
    assert verdict is Verdict.FAIL
    assert FOR_IT[part] in {finding.fault for finding in findings if finding.verdict is Verdict.FAIL}


@pytest.mark.parametrize("part", TOO_MUCH)
def test_a_part_that_needs_more_is_refused_by_field_and_bench(part: str) -> None:
    with open_bench(sim=spec(part)) as bench, pytest.raises(UsageError) as refused:
        bench.set_limits(on_bench(load_part(part), bench.identity.board).limits)
    assert "limits.current_max_a" in str(refused.value) and "5 A" in str(refused.value)
    assert BOARD in str(refused.value)


@pytest.mark.parametrize(("field", "value"), [("current_mean_a", 3.5), ("i2t_part_rest_a", 3.5)])
def test_every_limit_beyond_it_is_named(field: str, value: float) -> None:
    wrong = limits_for(3.0, 3.0).model_copy(update={"current_max_a": 5.0, field: value})
    with open_bench(sim=spec()) as bench, pytest.raises(UsageError, match=f"limits.{field} = {value:g}"):
        bench.set_limits(wrong)


def test_the_commands_reach_it(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["info", "--sim", "--bench", "beginner", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["identity"]["board"] == BOARD
    book = ["--book", str(tmp_path / "a.book")]
    assert main(["run", "cooling-fan", "--sim", "--bench", "beginner", *book]) == 2
    assert f"than the {BOARD} allows" in capsys.readouterr().err


def test_its_uncertainty_is_that_of_ordinary_resistors() -> None:
    mine, small = (budget_of({"identity": {"board": board}}).channels for board in (BOARD, "small bench"))
    assert mine == budget(10, few=True).channels
    assert mine["supply_v"].gain > 2 * small["supply_v"].gain
    assert mine["current_coarse_a"].offset == small["current_coarse_a"].offset
    with open_bench(sim=spec()) as bench:
        known = bench.accuracy()
    assert known["supply_v"]["gain"] == mine["supply_v"].gain
    assert not set(known) & set(LACKS)


# -- what it does not measure --------------------------------------------------------------------------------


def test_what_it_does_not_measure_is_unknown_to_the_host() -> None:
    with open_bench(sim=spec("throttle-body")) as bench:
        status = bench.status()
        unknown = (
            status.terminals_v,
            status.sensor_feed_v,
            status.heatsink_c,
            status.part_c,
            status.junction_c,
        )
        assert all(math.isnan(value) for value in unknown)
        assert math.isnan(bench.sensors_v()[1]) and 0.2 < bench.sensors_v()[0] < 4.8
        bench.set_limits(throttle_limits().model_copy(update=WITHIN))
        bench.arm()
        run = bench.run(procedure({"kind": "ramp", "to": 0.2, "over_s": 0.2, "label": "up"}))
        rows = np.concatenate(list(run))
    assert all(np.isnan(rows[name]).all() for name in LACKS)
    for name in ("current_a", "supply_v", "sensor_a_v"):
        assert np.isfinite(rows[name]).all() and np.ptp(rows[name]) > 0


@pytest.mark.parametrize("drive", [0.3, -0.3])
def test_volts_across_the_part_are_worked_out_for_the_diagnosis_alone(drive: float) -> None:
    wanted = throttle_limits().model_copy(update=WITHIN)
    with open_bench(sim=spec("throttle-body")) as bench:
        plant = bench.link.port.board.plant  # type: ignore[attr-defined]
        bench.set_limits(wanted)
        bench.arm()
        run = bench.run(procedure({"kind": "step", "to": drive, "for_s": 0.5, "label": "step"}))
        true_v, chunks = math.nan, []
        for chunk in run:
            chunks.append(chunk)
            if math.isnan(true_v) and len(chunks) > 3 and chunk["drive"][-1] == drive:
                true_v = plant.leg_a_v - plant.leg_b_v
    data = run.data(np.concatenate(chunks))
    rows = with_volts(data).samples
    assert np.isnan(data.samples["output_a_v"]).all()
    worked_v = float(np.median((rows["output_a_v"] - rows["output_b_v"])[250:400]))
    assert abs(true_v) > 3.0
    assert worked_v == pytest.approx(true_v, abs=3 * budget(10, few=True).channels["output_a_v"].u(true_v))


def test_a_watch_of_the_second_track_looks_at_the_first() -> None:
    own = on_bench(load_part("throttle-body"), BOARD)
    watches = [s.watch for s in own.procedure.segments if getattr(s, "watch", None)]
    assert not any(watch.when.startswith("sensor_b") for watch in watches)
    assert any((watch.when, watch.value) == ("sensor_a_below", 1.2) for watch in watches)
    assert set(own.tracks) == {"a"}
    assert not own.findings["track_mismatch"].required and own.findings["track_a_swing"].required
    assert own.findings["track_b_noise"].not_needed


def test_a_part_with_its_own_thermistor_is_refused() -> None:
    wanted = limits_for(3.0, 3.0).model_copy(update={"part_thermistor": True})
    with open_bench(sim=spec()) as bench, pytest.raises(UsageError, match=r"limits\.part_thermistor"):
        bench.set_limits(wanted)


# -- what it lacks and how its pins are tied -----------------------------------------------------------------


def test_the_bridge_supply_is_there_before_anybody_arms_and_goes_with_the_stop_button() -> None:
    with open_bench(sim=spec()) as bench:
        wait(bench, 1.5)
        assert bench.link.port.board.bridge.rail == 0  # type: ignore[attr-defined]
        assert bench.status().supply_v > 11 and bench.status().state == "ready"
        board = bench.link.port.board  # type: ignore[attr-defined]
        board.bench.set("estop")
        wait(bench, 32.0)
        assert bench.status().supply_v < 1.0
        with pytest.raises(Refused):
            bench.arm()
        board.bench.end("estop")
        wait(bench, 1.5)
        assert bench.status().supply_v > 11


@pytest.mark.parametrize(
    ("trouble", "code"),
    [
        ("mosfet_short_al", faults.PRECHARGE),
        ("mosfet_short_bh", faults.PRECHARGE),
        ("precharge_open", faults.PRECHARGE),
        ("comparator_dead", faults.FAST_LIMIT),
    ],
)
def test_the_self_test_finds_what_is_wrong_before_it_arms(trouble: str, code: int) -> None:
    with open_bench(sim=spec(bench_faults=(trouble,))) as bench:
        bench.set_limits(limits_for(3.0, 3.0))
        with pytest.raises(Refused) as refused:
            bench.arm()
    assert refused.value.code == code


def test_touching_leads_are_cut() -> None:
    with open_bench(sim=spec(bench_faults=("leads_shorted@1.5",))) as bench:
        bench.set_limits(throttle_limits().model_copy(update=WITHIN))
        bench.arm()
        run = bench.run(procedure({"kind": "ramp", "to": 0.5, "over_s": 4.0}))
        with pytest.raises(ProtectionTripped):
            list(run)
        board = bench.link.port.board  # type: ignore[attr-defined]
        assert board.bridge.gate == board.bridge.rail == 0 and board.plant.current_a == 0.0


# -- its bring-up --------------------------------------------------------------------------------------------


def bring_up(*troubles: str, seed: int = 1) -> tuple[Record, list[str]]:
    bench, laboratory = bench_in_laboratory(bench_faults=troubles, bench="beginner", seed=seed)
    said: list[str] = []
    with bench:
        record = Record(bench.identity.uid, bench.identity.board)
        go(Bringup(bench, LaboratoryHands(laboratory, bench)), record, load_steps(), "beginner", said.append)
    return record, said


@pytest.mark.parametrize("seed", [1, *(pytest.param(seed, marks=pytest.mark.slow) for seed in (2, 3))])
def test_a_bench_as_built_passes_its_bring_up(seed: int) -> None:
    record, said = bring_up(seed=seed)
    statuses = {name: step.status for name, step in record.steps.items()}
    assert {name for name, status in statuses.items() if status == "left out"} == REAL_ONLY
    assert all(status == "ok" for name, status in statuses.items() if name not in REAL_ONLY), statuses
    assert {"stopped_bus_v", "charged_s", "main_switch_loaded_v"} <= set(statuses)
    assert "precharge_s" not in statuses
    assert not any("F101" in line or "Q102" in line for line in said), "the other benches' parts"


@pytest.mark.slow
@pytest.mark.parametrize(
    ("trouble", "step", "hint"),
    [
        ("mosfet_short_ah", "supply_held", "switch of a module is shorted"),
        ("mosfet_open_bl", "load_forward", "switch of a module does not conduct"),
        ("precharge_open", "charged_s", "precharge resistor"),
        ("main_open", "load_forward", "relay's contact"),
        ("estop", "estop_released", "wire of the loop is broken"),
        ("comparator_dead", "fast_limit_edge", "U2"),
    ],
)
def test_trouble_is_found_where_it_shows(trouble: str, step: str, hint: str) -> None:
    record, said = bring_up(trouble)
    last = list(record.steps)[-1]
    assert (last, record.steps[last].status) == (step, "differs"), said[-4:]
    assert hint in " ".join(said[-1].split())


# -- engines -------------------------------------------------------------------------------------------------


def strokes(engine: str) -> bytes:
    """A short stroke's samples on an engine, as bytes."""
    return stroked_bytes(
        spec("throttle-body", engine=engine),
        WITHIN,
        {"kind": "ramp", "to": 0.4, "over_s": 0.2, "label": "up"},
        {"kind": "pause", "for_s": 0.1, "label": "off"},
    )


@pytest.mark.slow
def test_micropython_gives_the_same_bytes() -> None:
    try:
        micropython.find_interpreter()
    except LinkError as why:
        pytest.skip(str(why))
    assert strokes("micropython") == strokes("inprocess")

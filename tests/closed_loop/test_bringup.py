"""Bring-up on the simulated bench: a good one passes, each broken one is found at the step that shows it."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import pytest
from strokebench.bringup.go import go
from strokebench.bringup.hands import LaboratoryHands, PersonHands
from strokebench.bringup.measures import Test as Bringup
from strokebench.bringup.record import Record
from strokebench.bringup.steps import Step, load_steps
from tools.pages import walkthroughs

from tests.helpers.laboratory import bench_in_laboratory
from tests.helpers.process import ROOT, simulated_device, start, strokebench

REAL_ONLY = {"terminals_ohm", "idle_a", "battery_ready"}


def brought_up(
    *troubles: str, steps: tuple[Step, ...] = (), column: str = "simulated", **spec: object
) -> tuple[Record, list[str]]:
    """Bring a simulated bench up; return the record and what was said."""
    bench, laboratory = bench_in_laboratory(bench_faults=troubles, **spec)
    said: list[str] = []
    with bench:
        record = Record(bench.identity.uid, bench.identity.board)
        test = Bringup(bench, LaboratoryHands(laboratory, bench))
        go(test, record, steps or load_steps(), column, said.append)
        assert laboratory.board.bridge.gate == 0 and laboratory.board.bridge.rail == 0, "left off"
    return record, said


@pytest.mark.parametrize("seed", [1, *(pytest.param(seed, marks=pytest.mark.slow) for seed in (2, 3, 4))])
def test_a_good_bench_as_built_passes_all(seed: int) -> None:
    record, _said = brought_up(seed=seed)
    statuses = {name: step.status for name, step in record.steps.items()}
    assert {name for name, status in statuses.items() if status == "left out"} == REAL_ONLY
    assert all(status == "ok" for name, status in statuses.items() if name not in REAL_ONLY), statuses
    assert len(statuses) == sum(step.only == "" for step in load_steps())


def test_the_small_bench_passes_by_its_own_expectations() -> None:
    record, _said = brought_up(column="small", bench="small")
    statuses = {name: step.status for name, step in record.steps.items()}
    assert {name for name, status in statuses.items() if status == "left out"} == REAL_ONLY
    assert all(status == "ok" for name, status in statuses.items() if name not in REAL_ONLY), statuses


FAULTS = {
    "mosfet_short_ah": ("leg_a_permille", "A high is shorted"),
    "mosfet_short_al": ("leg_a_permille", "A low is shorted"),
    "mosfet_short_bh": ("leg_b_permille", "B high is shorted"),
    "mosfet_short_bl": ("leg_b_permille", "B low is shorted"),
    "mosfet_open_ah": ("pulse_a_high", "A high does not switch"),
    "mosfet_open_al": ("pulse_a_low", "A low does not switch"),
    "mosfet_open_bh": ("pulse_b_high", "B high does not switch"),
    "mosfet_open_bl": ("pulse_b_low", "B low does not switch"),
    "heatsink_ntc_open": ("heatsink_c", "is open or shorted"),
    "heatsink_ntc_short": ("heatsink_c", "is open or shorted"),
    "part_ntc_open": ("part_c", "is open or shorted"),
    "heatsink=70": ("heatsink_c", "another type"),
    "fine_zero=0.2": ("current_fine_zero_a", "fine range"),
    "feed=4.3": ("feed_v", "limits its current"),
    "estop": ("estop_released", "wire of the loop is broken"),
    "precharge_open": ("precharge_s", "precharge resistor"),
    "main_open": ("selftest_code", "strokebench faults"),
    "comparator_dead": ("fast_limit_edge", "comparators"),
    "comparator_plus_dead": ("trips", "comparators"),
    "leads_off": ("load_forward", "sentence above"),
}


@pytest.mark.slow
@pytest.mark.parametrize("trouble", FAULTS)
def test_trouble_is_found_where_it_shows(trouble: str) -> None:
    record, said = brought_up(trouble)
    step, words = FAULTS[trouble]
    last = list(record.steps)[-1]
    assert (last, record.steps[last].status) == (step, "differs"), said[-4:]
    assert words in " ".join(said[-1].split())
    assert [outcome.status for outcome in list(record.steps.values())[:-1]].count("differs") == 0


def test_a_wrong_resistor_is_told_by_its_ratio() -> None:
    bench, laboratory = bench_in_laboratory()
    steps = tuple(step for step in load_steps() if step.id in ("load_forward", "load_backward"))
    with bench:
        hands = LaboratoryHands(laboratory, bench)
        hands.meter = lambda step: 5.6  # type: ignore[method-assign]  # misread
        record = Record("x", "y")
        assert not go(Bringup(bench, hands), record, steps, "simulated", lambda text: None)
    assert record.steps["load_forward"].value == pytest.approx(4.7 / 5.6, rel=0.03)


def test_a_drive_that_ignores_the_stop_is_found() -> None:
    """The laboratory's hand does nothing: the bench goes on, and the step must differ."""
    bench, laboratory = bench_in_laboratory()
    laboratory.load(4.7)
    steps = tuple(step for step in load_steps() if step.id == "estop_drive")
    with bench:
        hands = LaboratoryHands(laboratory, bench)
        hands.press = lambda: None  # type: ignore[method-assign]
        record = Record("x", "y")
        assert not go(Bringup(bench, hands), record, steps, "simulated", lambda text: None)


@pytest.mark.slow
def test_under_micropython_too() -> None:
    record, _said = brought_up(engine="micropython", seed=2)
    assert record.steps["silence_s"].status == "ok"
    record, _said = brought_up("mosfet_short_bh", engine="micropython")
    assert list(record.steps)[-1] == "leg_b_permille"


def test_a_person_is_asked_and_may_err_and_leave_out() -> None:
    bench, laboratory = bench_in_laboratory()
    steps = tuple(step for step in load_steps() if step.id in ("terminals_ohm", "vin_v", "battery_ready"))
    lines: Iterator[str] = iter(["much", "12k", "12.61", "skip"])
    with bench:
        test = Bringup(bench, PersonHands(lambda prompt: next(lines)))
        record = Record("x", "y")
        assert go(test, record, steps, "simulated", lambda text: None)
    assert [outcome.status for outcome in record.steps.values()] == ["ok", "ok", "left out"]
    assert record.steps["terminals_ohm"].value == 12_000
    assert laboratory.true("vin") == pytest.approx(12.6, abs=0.02)


# -- the command, in processes of its own ------------------------------------------------------------------


@pytest.mark.slow
def test_command_keeps_a_record_and_goes_on_from_it(tmp_path: Path) -> None:
    first = strokebench("bringup", "--sim", "--trouble", "comparator_plus_dead", cwd=tmp_path)
    assert first.returncode == 1 and "22 well, 1 differ" in first.stdout, first.stderr
    second = strokebench("bringup", "--sim", cwd=tmp_path)
    assert second.returncode == 3 and "25 well, 0 differ, 3 left out" in second.stdout
    assert "Main switch: was well" in second.stdout
    (path,) = tmp_path.glob("strokebench-bringup-*.json")
    steps = json.loads(path.read_text(encoding="utf-8"))["steps"]
    assert steps["trips"]["status"] == "ok" and steps["trips"]["value"] >= 20
    assert steps["terminals_ohm"]["status"] == "left out"

    other = strokebench("bringup", "--sim", "--seed", "9", "--record", path.name, cwd=tmp_path)
    assert other.returncode == 2 and "another bench" in other.stderr
    assert strokebench("bringup", "--only", "nothing", cwd=tmp_path).returncode == 2
    assert "precharge_s" in strokebench("bringup", "--list", cwd=tmp_path).stdout


def test_as_json_with_one_step(tmp_path: Path) -> None:
    result = strokebench("bringup", "--sim", "--only", "feed_v", "--json", cwd=tmp_path)
    told = json.loads(result.stdout)
    assert result.returncode == told["exit_code"] == 0
    assert told["steps"]["feed_v"]["status"] == "ok"


@pytest.mark.slow
def test_at_a_device_a_person_goes_and_comes_back(tmp_path: Path) -> None:
    with simulated_device(tmp_path, "--pty") as (name, _process):

        def typed(*lines: str) -> str:
            process = start("bringup", "--port", name, cwd=tmp_path, stdin=-1)
            out, err = process.communicate("\n".join(lines) + "\n", timeout=60)
            assert process.returncode in (1, 3), err
            return out

        shown = typed("12k", "60 mA", "", "12.6 V", "", "", "quit")
        assert "Supply at the terminals\n" in shown and "6 well" in shown, shown
        # nobody presses the simulated stop of a served bench: the step must say so
        shown = typed("", "", "", "")
        assert "No short at the terminals: was well (12000 ohm)" in shown
        assert "DIFFERS: 0, expected 1" in shown and "Do not go on" in shown


@pytest.mark.slow
def test_the_walks_in_the_docs_are_what_the_program_does() -> None:
    for name, text in walkthroughs.pages().items():
        assert (ROOT / "docs" / name).read_text(encoding="utf-8") == text, (
            f"run python -m {walkthroughs.__name__}"
        )

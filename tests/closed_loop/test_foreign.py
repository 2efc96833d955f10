"""Files of other people's instruments through the real command line: time and a current clamp, nothing else.

The files are written from simulated parts switched on at constant volts; what the plant knows is the truth.
"""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest
from strokebench.cli import main

from tests.helpers.process import strokebench
from tests.helpers.scope import MAP, Scope, Shot, shoot, write

VOLTS = {
    "fuel-pump": ("turning", "motor_constant", "loop_resistance", "load_torque"),
    "cooling-fan": ("turning", "motor_constant", "loop_resistance", "load_torque"),
    "solenoid": ("winding_resistance", "inductance", "plunger_moves"),
}
"""Findings that cannot be without the volts."""


def judged(path: Path, part: str, capsys: pytest.CaptureFixture[str], *more: str) -> dict[str, Any]:
    """Judge and return the verdict with the findings by their keys; what is not judged must say why."""
    code = main(["judge", str(path), "--part", part, "--map", MAP, "--json", *(more or ("--no-report",))])
    told: dict[str, Any] = json.loads(capsys.readouterr().out)
    assert code == told["exit_code"]
    assert all(
        finding["reason"] for finding in told["findings"] if finding["verdict"] in ("inconclusive", "info")
    )
    told["by_key"] = {finding["key"]: finding for finding in told["findings"]}
    for key in VOLTS[part]:
        assert told["by_key"][key]["verdict"] == "inconclusive"
        assert told["by_key"][key]["reason"] == "the recording holds no output volts"
    return told


def faults(told: dict[str, Any]) -> set[str]:
    """Defects named by what failed."""
    return {finding["fault"] for finding in told["findings"] if finding["verdict"] == "fail"}


def assert_value(told: dict[str, Any], key: str, true: float) -> None:
    """The value is the truth within its own uncertainty, and that says something."""
    found = told["by_key"][key]
    assert found["value"] == pytest.approx(true, abs=2 * found["u"])
    assert 2 * found["u"] < 0.25 * true


@pytest.mark.slow
@pytest.mark.parametrize(
    ("part", "rate_hz", "on_s", "scope"),
    [
        ("fuel-pump", 50_000, 0.8, Scope(noise_a=0.05, step_a=0.1)),
        ("fuel-pump", 500_000, 0.5, Scope(noise_a=0.1, step_a=0.1)),
        ("fuel-pump", 20_000, 1.0, Scope(uneven=0.3, missing=[(0.62, 0.66), (1.0, 1.001)])),
        ("cooling-fan", 10_000, 1.8, Scope(step_a=0.05)),
    ],
)
def test_a_good_rotor_by_its_current_alone(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], part: str, rate_hz: int, on_s: float, scope: Scope
) -> None:
    shot = shoot(part, rate_hz, on_s, seed=2)
    told = judged(write(tmp_path / "scope.csv", shot, scope), part, capsys)
    assert (told["verdict"], faults(told)) == ("inconclusive", set())
    found = told["by_key"]
    assert found["speed"]["value"] == pytest.approx(shot.rpm, rel=0.002)
    running_a = shot.current_a[shot.time_s < 0.1 + on_s - 0.01][-rate_hz // 10 :]
    assert_value(told, "current_flows", float(running_a.mean()))
    missing_s = sum(end_s - start_s for start_s, end_s in scope.missing if end_s - start_s > 0.0025)
    assert found["recording_gaps"]["value"] == pytest.approx(100 * missing_s / (on_s + 0.2), abs=0.1)
    assert_value(told, "inrush_peak", float(shot.current_a.max()))
    passed = {key for key, finding in found.items() if finding["verdict"] == "pass"}
    assert passed == {"current_flows", "segment_passes", "once_a_turn", "brush_noise"}
    # limits made for a start with a known drive do not apply
    assert [found[key]["upper"] for key in ("inrush_peak", "inrush_ratio", "start_time")] == [None] * 3


@pytest.mark.slow
@pytest.mark.parametrize(
    ("part", "defects", "supply_v", "named"),
    [
        ("fuel-pump", ("bad_segment:moderate",), 10.8, {"bad_segment"}),
        ("fuel-pump", ("worn_brush:severe",), 14.4, {"worn_brush"}),
        ("cooling-fan", ("broken_blade:moderate",), 12.6, {"broken_blade"}),
        ("fuel-pump", ("weak_magnet:severe",), 14.4, set()),
        ("fuel-pump", ("dry:severe",), 12.6, set()),
    ],
)
def test_what_repeats_or_flickers_is_named_and_the_rest_is_not_guessed(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], part: str, defects: tuple[str, ...], supply_v: float,
    named: set[str],
) -> None:  # fmt: skip
    shot = shoot(part, 20_000, 1.0 if part == "fuel-pump" else 2.0, defects, seed=3, supply_v=supply_v)
    told = judged(write(tmp_path / "scope.csv", shot, Scope(noise_a=0.03, step_a=0.05)), part, capsys)
    assert faults(told) == named
    assert told["by_key"]["speed"]["value"] == pytest.approx(shot.rpm, rel=0.003)


def test_a_rotor_that_stands_has_no_speed_and_no_verdict(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    shot = shoot("fuel-pump", 10_000, 0.5, ("blocked",))
    path = write(tmp_path / "scope.csv", shot, Scope(noise_a=0.03))
    told = judged(path, "fuel-pump", capsys, "--report", str(tmp_path / "scope.html"))
    assert told["verdict"] == "inconclusive"
    report = (tmp_path / "scope.html").read_text(encoding="utf-8")
    assert report.count("<svg") >= 2, "the recording and its start"
    assert "Current after switching on" in report
    assert "none: a recording from elsewhere" in report, "it names a procedure that nobody ran"
    assert "as that of a rotor that stands" in told["by_key"]["speed"]["reason"]
    assert_value(told, "current_flows", float(shot.current_a[5500]))


@pytest.mark.parametrize(("part", "duty"), [("fuel-pump", 0.5), ("cooling-fan", 0.4)])
def test_a_part_that_did_not_get_all_volts_is_not_taken_for_a_defective_one(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], part: str, duty: float
) -> None:
    """At half the volts its ripple is that of another motor with a bad segment at full volts."""
    shot = shoot(part, 10_000, 1.6, duty=duty)
    path = write(tmp_path / "scope.csv", shot, Scope(noise_a=0.02))
    told = judged(path, part, capsys)
    assert faults(told) == set()
    speed = told["by_key"]["speed"]
    if speed["value"] is None:
        maybe = re.findall(r"\d{3,}", speed["reason"])
        assert any(float(rpm) == pytest.approx(shot.rpm, rel=0.01) for rpm in maybe), "among those named"
    else:
        assert speed["value"] == pytest.approx(shot.rpm, rel=0.003)
    # without its start nothing tells the volts, so nothing is judged by the speed
    late = Shot(shot.time_s[5000:], shot.current_a[5000:], shot.rpm, 0.0, 0.0)
    told = judged(write(tmp_path / "late.csv", late, Scope(noise_a=0.02)), part, capsys)
    assert faults(told) == set()
    for key in ("segment_passes", "once_a_turn", "brush_noise"):
        unlimited = told["by_key"][key]["value"] is not None  # told, but without the limits
        assert told["by_key"][key]["verdict"] == ("info" if unlimited else "inconclusive")


@pytest.mark.parametrize("rate_hz", [100, 1000])
def test_a_slow_logger_tells_the_current_but_not_the_ripple(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], rate_hz: int
) -> None:
    shot = shoot("fuel-pump", rate_hz, 2.0)
    told = judged(write(tmp_path / "scope.csv", shot), "fuel-pump", capsys)
    found = told["by_key"]
    assert_value(told, "current_flows", float(shot.current_a[int(2.0 * rate_hz)]))
    for key in ("speed", "segment_passes", "once_a_turn", "brush_noise"):
        assert f"at {rate_hz} rows a second the ripple" in found[key]["reason"]
    assert (found["inrush_peak"]["value"] is None) == (rate_hz == 100)


@pytest.mark.slow
@pytest.mark.parametrize("rate_hz", [1000, 50_000, 500_000])
@pytest.mark.parametrize("defects", [(), ("sticky:moderate",), ("stuck_open",)])
def test_a_solenoid_by_its_current_alone(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], rate_hz: int, defects: tuple[str, ...]
) -> None:
    shot = shoot("solenoid", rate_hz, 0.15, defects, seed=2)
    scope = Scope(noise_a=0.002, step_a=0.002)
    told = judged(write(tmp_path / "scope.csv", shot, scope), "solenoid", capsys)
    found = told["by_key"]
    assert (told["verdict"], faults(told)) == ("inconclusive", set())
    assert_value(told, "stall_current", float(shot.current_a[int(0.24 * rate_hz)]))
    if defects == ("stuck_open",):
        assert "showed no dip in 1 switch-ons" in found["pull_in_time"]["reason"]
        assert found["drop_out_current"]["value"] is None
        return
    late_ms = 0.3 if rate_hz > 1000 else 1.2
    assert found["pull_in_time"]["value"] == pytest.approx(1e3 * shot.arrived_s, abs=late_ms)
    assert found["pull_in_dip"]["value"] > 20
    if rate_hz == 1000:
        assert "at 1000 rows a second the shoulder" in found["drop_out_current"]["reason"]
        return
    assert found["drop_out_time"]["value"] == pytest.approx(1e3 * shot.left_s, abs=0.7)
    assert_value(told, "drop_out_current", at(shot, 0.25 + shot.left_s))


def at(shot: Shot, time_s: float) -> float:
    """Current at a time, A."""
    return float(shot.current_a[int(time_s * len(shot.time_s) / shot.time_s[-1])])


def test_without_a_rise_nothing_was_switched_on(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    shot = shoot("fuel-pump", 5000, 0.5, ("open_winding",))
    told = judged(write(tmp_path / "scope.csv", shot, Scope(noise_a=0.02)), "fuel-pump", capsys)
    assert told["verdict"] == "inconclusive"
    assert "never rises out of its noise" in told["by_key"]["current_flows"]["reason"]


BAD = [
    ("Time [s],CH2 [V]\n0,0\n0.001,0\n", "has no column 'CH1 [V]', which the mapping names"),
    ("", "holds no rows"),
    ("Time [s],CH1 [V]\ns,V\n", "holds no rows"),
    ("Time [s],CH1 [V]\n0,1.65\n0.001,over\n0.002,1.65\n",
     "current_a is not a number in 1 of 3 rows, first in line 3"),
    ("Time [s],CH1 [V]\n0,1.65\n0.001,high\n0.002,1.65\n",
     "line 3: 'high' is not a number in column 'CH1 [V]'"),
    ("Time [s],CH1 [V]\n0,1.65\n0.002,1.65\n0.001,1.65\n", "time_s goes back at line 4"),
    ("Time [s],CH1 [V]\n0,1.65\n1,1.65\n2,1.65\n", "time_s gives 1 rows per second"),
]  # fmt: skip


@pytest.mark.parametrize(("text", "sentence"), BAD)
def test_an_unusable_file_is_one_sentence(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], text: str, sentence: str
) -> None:
    path = tmp_path / "scope.csv"
    path.write_text(text, encoding="utf-8")
    assert main(["judge", str(path), "--part", "fuel-pump", "--map", MAP]) == 7
    told = capsys.readouterr()
    flowing = " ".join(told.err.split())
    assert told.out == ""
    assert flowing.count("Error:") == 1
    assert sentence in flowing
    assert "Traceback" not in flowing


def test_in_a_process_of_its_own(tmp_path: Path) -> None:
    shot = shoot("fuel-pump", 20_000, 0.6)
    write(tmp_path / "scope.csv", shot)
    command = ("judge", "scope.csv", "--part", "fuel-pump", "--all", "--map")
    result = strokebench(*command, MAP, cwd=tmp_path)
    assert (result.returncode, result.stderr) == (3, "")
    shown = " ".join(result.stdout.split())
    assert "INCONCLUSIVE Fuel pump" in shown
    assert "findings: the recording holds no output volts" in shown
    assert "Source resistance (battery, leads): the recording holds no supply voltage and no drive" in shown
    row = next(line for line in result.stdout.splitlines() if line.startswith("Speed while it ran"))
    assert f" {shot.rpm:.0f}"[:4] in row and " info " in row
    refused = strokebench(*command, 'time="Time [s]",current_a="CH7*10"', cwd=tmp_path)
    assert (refused.returncode, refused.stdout) == (7, "")
    assert "no column 'CH7'" in " ".join(refused.stderr.split())

"""What a person at the bench asks of it: where is the part, what fault is held, is it gone."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import pytest
from strokebench.bench import bench as bench_module
from strokebench.bench.bench import Bench, open_bench
from strokebench.bench.spec import SimSpec
from strokebench.cli import main
from strokebench.errors import Refused
from strokebench.parts import load_part

from tests.helpers.process import simulated_device


def latched() -> Bench:
    """Return a bench that refused an open part and holds that fault."""
    bench = open_bench(sim=SimSpec("solenoid", faults=("open_winding",)))
    bench.set_limits(load_part("solenoid").limits)
    with pytest.raises(Refused):
        bench.arm()
    return bench


def test_a_supply_of_nothing_is_no_supply(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """It was taken for the default of 12.6 V."""
    book = str(tmp_path / "a.book")
    assert main(["run", "solenoid", "--sim", "--supply", "0", "--json", "--book", book]) == 4
    assert "no usable supply" in json.loads(capsys.readouterr().out)["error"]


def test_watch_shows_position_and_both_sensors(capsys: pytest.CaptureFixture[str]) -> None:
    """The tutorial's first check, a rising position, could not be made."""
    assert main(["watch", "--sim", "--count", "1"]) == 0
    line = capsys.readouterr().out.rstrip("\n")
    assert " 9 % a 0.88 b 4.11" in line and len(line) <= 79
    assert main(["watch", "--sim", "--count", "1", "--json"]) == 0
    reading = json.loads(capsys.readouterr().out)
    assert reading["sensor_a_v"] == pytest.approx(0.88, abs=0.02)
    assert reading["position_percent"] == pytest.approx(9.5, abs=0.5)
    assert main(["watch", "--sim", "--part", "fuel-pump", "--count", "1"]) == 0
    assert "%" not in capsys.readouterr().out


@pytest.mark.skipif(sys.platform == "win32", reason="no pseudo terminal")
def test_watch_claims_no_position_of_a_part_that_nobody_named(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The volts of any part's sensor were told as a throttle body's opening."""
    with simulated_device(tmp_path) as (port, _):
        assert main(["watch", "--port", port, "--count", "1"]) == 0
        assert "%" not in capsys.readouterr().out
        assert main(["watch", "--port", port, "--part", "throttle-body", "--count", "1"]) == 0
        assert "%" in capsys.readouterr().out


def test_an_ended_watch_says_the_truth(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """It said that what was recorded is kept."""

    def interrupted(bench: Bench) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(Bench, "status", interrupted)
    assert main(["watch", "--sim"]) == 130
    shown = "".join(capsys.readouterr())
    assert "nothing was driven, nothing recorded" in shown and "is kept" not in shown


def test_a_held_fault_is_named_with_what_to_do() -> None:
    with latched() as bench, pytest.raises(Refused, match="winding is open") as caught:
        bench.arm()
    assert "measure the winding" in caught.value.hint and "strokebench clear" in caught.value.hint


def test_clear_releases_it_and_names_it(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    bench = latched()
    monkeypatch.setattr(bench_module, "open_bench", lambda port: bench)
    assert main(["clear", "--json"]) == 0
    assert json.loads(capsys.readouterr().out) == {"cleared": 84, "state": "ready"}


@pytest.mark.parametrize(("answer", "code"), [("yes", 0), ("no", 4)])
def test_run_offers_to_clear_what_a_dead_laptop_left(
    answer: str, code: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench = open_bench(sim=SimSpec("solenoid", bench_faults=("leads_off",)))
    bench.set_limits(load_part("solenoid").limits)
    with pytest.raises(Refused):
        bench.arm()
    bench.link.port.board.bench.end("leads_off")  # type: ignore[attr-defined]
    asked: list[str] = []
    monkeypatch.setattr("strokebench.commands.bench.run.open_chosen", lambda args, part: bench)

    def said(question: str) -> bool:
        asked.append(question)
        return answer == "yes"

    monkeypatch.setattr("strokebench.commands.bench.run.yes", said)
    monkeypatch.setattr("sys.stdin.isatty", lambda: True)
    book = str(tmp_path / "a.book")
    assert main(["run", "solenoid", "--sim", "--no-report", "--book", book]) == code
    assert len(asked) == 1 and "Clear it" in asked[0]

"""A part that the bench will not drive has a result all the same: open, shorted, or its sensor's feed."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from strokebench.bench.bench import open_bench
from strokebench.bench.spec import SimSpec
from strokebench.book.book import Book
from strokebench.cli import main
from strokebench.errors import Refused
from strokebench.parts import load_part, part_names
from strokebench.session import Refusal, arm_or_refusal

WITH_SENSOR = [name for name in part_names() if load_part(name).tracks]
OPEN = "open circuit or not connected: check the leads"


def outcome(
    capsys: pytest.CaptureFixture[str], folder: Path, part: str, *options: str
) -> tuple[int, dict[str, object]]:
    """Run ``part`` with ``options``; return the exit code and the result."""
    common = ["--json", "--book", str(folder / "a.book"), "--acknowledge"]
    code = main(["run", part, "--sim", *common, *options])
    return code, json.loads(capsys.readouterr().out)


def trouble(part: str) -> tuple[str, str]:
    """Return what opens the circuit of ``part``: its winding, the leads where it has none."""
    return ("--trouble", "leads_off") if part == "wiring" else ("--inject", "open_winding")


@pytest.mark.parametrize("part", part_names())
def test_an_open_part_is_inconclusive_until_its_leads_are_checked(
    part: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The commonest dead part ended as "bench not reached or lost", and the book knew nothing of it."""
    code, result = outcome(capsys, tmp_path, part, *trouble(part), "--no-report")
    assert (code, result["verdict"], result["outcome"]) == (3, "inconclusive", "refused")
    first = result["findings"][0]  # type: ignore[index]
    assert (first["key"], first["value"], first["reason"]) == ("connection", None, OPEN)
    code, result = outcome(capsys, tmp_path, part, *trouble(part), "--no-report", "--leads-checked")
    assert (code, result["verdict"], result["outcome"]) == (1, "fail", "refused")
    failing = [found for found in result["findings"] if found["verdict"] == "fail"]  # type: ignore[attr-defined]
    assert [(found["key"], found["value"]) for found in failing] == [("connection", 0.0)]
    with Book(tmp_path / "a.book", read_only=True) as book:
        assert [(run.outcome, run.verdict) for run in book.runs()] == [
            ("refused", "inconclusive"), ("refused", "fail"),
        ]  # fmt: skip
        assert book.load(2).info["leads_checked"] == "by option"
        assert not book.problems()


@pytest.mark.parametrize("checked", [False, True])
@pytest.mark.parametrize("part", part_names())
def test_a_short_in_part_or_leads_has_a_result(
    part: str, checked: bool, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    options = ["--trouble", "leads_shorted", "--no-report", *(["--leads-checked"] if checked else [])]
    code, result = outcome(capsys, tmp_path, part, *options)
    assert (code, result["verdict"]) == ((1, "fail") if checked else (3, "inconclusive"))


@pytest.mark.parametrize("part", part_names())
def test_a_shorted_sensor_feed_is_a_result_where_there_is_a_sensor(
    part: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Without a sensor the 5 V feed has nothing on it but the bench: that stays an error of the bench."""
    options = ("--trouble", "feed=0.3", "--no-report")
    code, result = outcome(capsys, tmp_path, part, *options)
    if part not in WITH_SENSOR:
        assert code == 4 and "5 V feed" in str(result["error"])
        return
    assert (code, result["verdict"]) == (3, "inconclusive")
    code, result = outcome(capsys, tmp_path, part, *options, "--leads-checked")
    assert (code, result["verdict"]) == (1, "fail")


@pytest.mark.parametrize("part", ["throttle-body", "egr-motor"])
def test_swapped_motor_leads_are_told_and_not_taken_for_a_short_way(
    part: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """It failed with "travel too short"."""
    options = ("--trouble", "leads_swapped", "--no-report")
    code, result = outcome(capsys, tmp_path, part, *options)
    assert (code, result["verdict"]) == (3, "inconclusive")
    first = result["findings"][0]  # type: ignore[index]
    assert first["key"] == "connection" and "leads are swapped" in first["reason"]
    code, result = outcome(capsys, tmp_path, part, *options, "--leads-checked")
    assert (code, result["verdict"]) == (1, "fail")
    assert [found["fault"] for found in result["findings"] if found["verdict"] == "fail"] == ["wrong_way"]  # type: ignore[attr-defined]


@pytest.mark.parametrize("trouble", ["mosfet_short_ah", "estop", "main_open", "heatsink_ntc_open"])
def test_a_cause_in_the_bench_stays_an_error(
    trouble: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, result = outcome(capsys, tmp_path, "solenoid", "--trouble", trouble, "--leads-checked")
    assert code == 4 and "refused" in str(result["error"])
    with Book(tmp_path / "a.book", read_only=True) as book:
        assert book.runs() == []


def test_the_report_of_a_dead_pump_says_what_to_do(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    page = tmp_path / "a-run-1.html"
    options = ("--inject", "open_winding", "--leads-checked", "--customer", "C-17")
    code, result = outcome(capsys, tmp_path, "fuel-pump", *options)
    assert (code, result["report"]) == (1, str(page))
    text = page.read_text(encoding="utf-8")
    assert "No current flows" in text and "The bench did not drive the part." in text
    assert main(["book", "show", "1", "--book", str(tmp_path / "a.book")]) == 0
    assert "FAIL" in capsys.readouterr().out
    assert main(["judge", str(tmp_path / "a.book"), "--no-report", "--json"]) == 1


def test_leads_put_on_when_asked_are_driven_after_all() -> None:
    profile = load_part("solenoid")
    with open_bench(sim=SimSpec("solenoid", bench_faults=("leads_off",))) as bench:
        bench.set_limits(profile.limits)
        asked: list[str] = []

        def put_on(question: str) -> bool:
            asked.append(question)
            bench.link.port.board.bench.end("leads_off")  # type: ignore[attr-defined]
            return True

        assert arm_or_refusal(bench, profile, put_on) is None
        assert len(asked) == 1 and "leads" in asked[0]
        assert bench.status().state == "armed"


@pytest.mark.parametrize("says", [True, False])
def test_a_persons_answer_decides(says: bool) -> None:
    profile = load_part("solenoid")
    with open_bench(sim=SimSpec("solenoid", faults=("open_winding",))) as bench:
        bench.set_limits(profile.limits)
        found = arm_or_refusal(bench, profile, lambda question: says)
        assert isinstance(found, Refusal)
        assert (found.code, found.checked) == (84, "by answer" if says else "")


def test_a_refusal_without_limits_is_raised() -> None:
    with open_bench(sim=SimSpec("solenoid")) as bench, pytest.raises(Refused):
        arm_or_refusal(bench, load_part("solenoid"), lambda question: True)

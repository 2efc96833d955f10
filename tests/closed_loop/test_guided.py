"""A guided procedure on the simulated bench: by a file of answers, by a person at a real terminal, and
every way in which it can be left."""

from __future__ import annotations

import json
import re
import subprocess
from pathlib import Path
from typing import Any

import pytest
from strokebench.book.book import Book
from strokebench.cli import main
from strokebench.guided import load_guide

from tests.helpers.process import strokebench
from tests.helpers.terminal import Person, person
from tests.helpers.waiting import wait_until

GUIDE = load_guide("egr-at-idle")
GOOD = {
    "shut_before": "even", "open_15": "nothing", "open_30": "dips", "open_50": "stumbles",
    "shut_after": "even",
}  # fmt: skip


def answers(folder: Path, **changes: str) -> str:
    lines = [f'{step} = "{answer}"' for step, answer in (GOOD | changes).items() if answer]
    (folder / "answers.toml").write_text("\n".join(lines))
    return str(folder / "answers.toml")


def guided(folder: Path, capsys: Any, *more: str, **changes: str) -> tuple[int, dict[str, Any], Any]:
    """Run with answers from a file; return exit code, JSON and the recording."""
    book = folder / "b.book"
    command = ["guided", "egr-at-idle", "--sim", "--answers", answers(folder, **changes), "--book", str(book)]
    code = main([*command, "--json", *more])
    result = json.loads(capsys.readouterr().out)
    with Book(book, read_only=True) as opened:
        return code, result, opened.load(opened.last_run())


def test_answers_are_evidence_in_recording_findings_and_report(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    report = tmp_path / "r.html"
    code, result, data = guided(tmp_path, capsys, "--part", "egr-solenoid", "--report", str(report))
    assert (code, result["verdict"]) == (0, "pass")
    told = data.info["answers"]
    assert [answer["step"] for answer in told] == list(GOOD)
    for answer, target in zip(told, (0, 15, 30, 50, 0), strict=True):
        assert answer["position_percent"] == pytest.approx(target, abs=8)
        at = data.between(answer["time_s"] - 0.1, answer["time_s"] + 0.001)
        assert answer["drive"] == pytest.approx(at["drive"].mean(), abs=0.02)
        assert answer["current_a"] == pytest.approx(at["current_a"].mean(), abs=0.05)
    events = [event for event in data.events if event.kind == "answer"]
    assert [event.time_s for event in events] == pytest.approx([answer["time_s"] for answer in told])
    html = report.read_text(encoding="utf-8")
    for answer in told:
        assert html.count(answer["text"]) >= 1 and f"{answer['time_s']:.1f} s" in html
    assert "Idles evenly with the valve shut" in html and "Answers of the person" in html
    assert data.samples["drive"][-1] == 0
    assert main(["judge", str(tmp_path / "b.book"), "--no-report", "--json"]) == 0
    again = json.loads(capsys.readouterr().out)
    assert [finding["verdict"] for finding in again["findings"]] == [
        finding["verdict"] for finding in result["findings"]
    ]


def test_a_stall_leads_straight_to_shutting(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, result, data = guided(tmp_path, capsys, "--no-report", open_15="stalls")
    assert [mark.label for mark in data.marks] == ["shut_before", "open_15", "shut_after"]
    assert (code, result["verdict"]) == (0, "pass")
    before, after = (next(data.labelled(name)) for name in ("open_15", "shut_after"))
    assert data.of(before)["drive"].max() > 0.1
    assert data.between(after.start_s + 0.3, after.end_s)["drive"].max() == 0


def test_measurement_and_answer_together_name_the_defect(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The sensor is dead: opened as far as it may, the engine notices and the sensor does not."""
    code, result, _data = guided(
        tmp_path, capsys, "--no-report", "--inject", "track_dead", open_15="stumbles"
    )
    assert code == 1
    assert {finding["fault"] for finding in result["findings"] if finding["verdict"] == "fail"} == {
        "track_dead"
    }


@pytest.mark.slow
def test_when_nobody_answers_the_part_goes_off(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, result, data = guided(tmp_path, capsys, "--no-report", open_15="")
    assert (code, result["outcome"]) == (3, "nobody answered")
    step = next(data.labelled("open_15"))
    allowed_s = next(asked for asked in GUIDE.steps if asked.id == "open_15").answer_s
    assert step.end_s - step.start_s == pytest.approx(allowed_s, abs=25)
    assert data.samples["drive"][-1] == 0
    given = next(finding for finding in result["findings"] if finding["key"] == "answers_given")
    assert "nobody answered" in given["reason"]


def test_answers_from_a_file_are_for_the_simulation_only(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    assert main(["guided", "egr-at-idle", "--port", "nowhere", "--answers", answers(tmp_path)]) == 2
    assert "somebody must look" in capsys.readouterr().err


def test_without_a_terminal_one_sentence(tmp_path: Path) -> None:
    result = strokebench("guided", "egr-at-idle", "--sim", cwd=tmp_path, stdin=subprocess.DEVNULL)
    assert result.returncode == 2
    assert result.stderr.startswith("Error: A guided procedure needs somebody at a terminal")


def acknowledge(terminal: Person) -> None:
    for caution in GUIDE.cautions:
        terminal.until(r"Type yes")
        assert " ".join(caution.split()[:4]) in re.sub(r"\s+", " ", terminal.seen)
        terminal.type("yes\n")


@pytest.mark.slow
def test_a_person_at_a_terminal(tmp_path: Path) -> None:
    """Cautions one by one, answers by single keys (one while the valve still opens), verdict and report."""
    with person("guided", "egr-at-idle", "--sim", "--book", "b.book", cwd=tmp_path) as terminal:
        acknowledge(terminal)
        for key in ("1", "1"):
            terminal.until(r"s to answer")
            terminal.type(key)
        terminal.until(r"leaves, and the part")
        terminal.type("3")
        terminal.until("s to answer")
        terminal.type("x1")  # keys that are no answer are passed over
        terminal.until(r"PASS EGR")
        assert terminal.process.wait(20) == 0
        plain = re.sub(r"\x1b\[[0-9;?]*[a-zA-Z]", "", terminal.seen)
        assert max(map(len, re.split(r"[\r\n]+", plain))) <= 80
    with Book(tmp_path / "b.book", read_only=True) as book:
        data = book.load(1)
    assert [(a["step"], a["answer"]) for a in data.info["answers"]] == [
        ("shut_before", "even"), ("open_15", "nothing"), ("open_30", "stumbles"), ("shut_after", "even"),
    ]  # fmt: skip
    assert data.info["cautions"] == f"all {len(GUIDE.cautions)}, one by one, by answer"
    assert (tmp_path / "b-run-1.html").exists()


@pytest.mark.slow
def test_a_caution_not_met_drives_nothing(tmp_path: Path) -> None:
    with person("guided", "egr-at-idle", "--sim", "--book", "b.book", cwd=tmp_path) as terminal:
        terminal.until("Type yes")
        terminal.type("yes\n")
        terminal.until("CAUTION")
        terminal.type("no\n")
        assert terminal.process.wait(20) == 2
        terminal.rest()
        assert "nothing was driven" in re.sub(r"\s+", " ", terminal.seen)
    assert not (tmp_path / "b.book").exists()


def _opened(path: Path) -> bool:
    with Book(path, read_only=True) as book:
        return bool((book.load(1).samples["drive"] > 0.03).any())


@pytest.mark.slow
@pytest.mark.parametrize(("way", "code"), [("q", 3), ("\x03", 130)])
def test_every_way_out_leaves_the_part_off_and_the_recording_whole(
    way: str, code: int, tmp_path: Path
) -> None:
    import termios

    with person(
        "guided", "egr-at-idle", "--sim", "--book", "b.book", "--no-report", cwd=tmp_path
    ) as terminal:
        acknowledge(terminal)
        terminal.until(r"leaves, and the part")
        terminal.type("1")
        terminal.until("to 15")
        before = termios.tcgetattr(terminal.number)
        wait_until(lambda: _opened(tmp_path / "b.book"))
        terminal.type(way)
        assert terminal.process.wait(20) == code
        assert termios.tcgetattr(terminal.number) != before, "the terminal is itself again"
    with Book(tmp_path / "b.book", read_only=True) as book:
        data, summary = book.load(1), book.summary(1)
    assert summary.outcome == ("stopped" if way == "q" else "interrupted")
    assert data.samples["drive"].max() > 0.03 and data.samples["drive"][-1] == 0
    assert [answer["step"] for answer in data.info["answers"]] == ["shut_before"]

"""The command: lists, shows, runs, hides answers until asked."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from strokebench.cli import main


def test_lists_and_shows_without_running(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["lesson"]) == 0
    assert capsys.readouterr().out.count("Lesson ") == 8
    assert main(["lesson", "2"]) == 0
    shown = capsys.readouterr().out
    assert "Write down first" in shown and "Answer" not in shown
    assert main(["lesson", "--json"]) == 0
    assert [lesson["number"] for lesson in json.loads(capsys.readouterr().out)] == list(range(1, 9))


def test_runs_and_answers_when_asked(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    plot = tmp_path / "two.svg"
    assert main(["lesson", "2", "--run", "-o", str(plot)]) == 0
    told = capsys.readouterr().out
    assert "time to zero through the diode" in told and "Answer:" not in told
    assert plot.read_text("utf-8").lstrip().startswith("<?xml")
    assert main(["lesson", "2", "--answers", "-o", str(plot)]) == 0
    told = capsys.readouterr().out
    assert told.count("Answer: ") == 4 and "{" not in told
    assert main(["lesson", "2", "--run", "--json", "-o", str(plot)]) == 0
    numbers = json.loads(capsys.readouterr().out)["numbers"]
    assert numbers["diode_ms"]["unit"] == "ms" and 60 < numbers["diode_ms"]["value"] < 80


def test_wrong_use_is_told(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    assert main(["lesson", "9"]) == 2
    assert main(["lesson", "--run"]) == 2
    assert main(["lesson", "3", "-o", str(tmp_path / "a.bmp")]) == 2
    assert main(["lesson", "3", "-o", str(tmp_path / "none" / "a.svg")]) == 6
    assert "cannot be written" in capsys.readouterr().err

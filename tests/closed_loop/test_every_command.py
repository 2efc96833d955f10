"""Every command: JSON and nothing else with ``--json``, readable at 80 columns, no colour with NO_COLOR."""

from __future__ import annotations

import argparse
import json
import re
import shlex
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

import pytest
from strokebench.cli import main, parser

pytestmark = pytest.mark.slow

WITHOUT_JSON = {"completion": "its result is a shell's script"}
ELSEWHERE = (
    "jog", "panel", "serve", "sim", "flash",
    "lake put", "lake find", "lake samples", "lake judge", "lake limits", "lake summary", "lake together",
    "golden keep", "golden show", "golden drop",
    "exercise make", "exercise show", "exercise predict", "exercise compare", "finding",
)  # fmt: skip
"""Run until somebody ends them, or need a chip, a lake, a golden part or a class: own tests."""
NEEDS = {"book export --parquet": "pyarrow", "completion": "shtab"}
COLOUR = re.compile(r"\x1b\[[0-9;]*\b(?:3[0-8]|4[0-8]|9[0-7]|10[0-7])m")

PREPARE = (
    "run solenoid --sim --seed 3 --book b.book --no-report --serial 'L7-001 of the second lot' "
    "--customer 'Kestrel Garage and Daughters, order 1182' --note 'does not shut when it is warm'",
    "run solenoid --sim --seed 4 --inject weak_spring:severe --book b.book --no-report",
    *(f"run solenoid --sim --seed {n} --serial L7-00{n} --book b.book --no-report" for n in range(5, 9)),
    "export 1 --book b.book --csv one.csv",
    "job new --customer 'Kestrel Garage and Daughters' --complaint 'purges late when warm' --book b.book",
    "job new --book b.book",
    "job add 1 1 --book b.book",
)

# What each command is tried with; the exit code it ends with if it is not 0.
TRIED = {
    "run": ("solenoid --sim --inject sticky:severe --book c.book", 1),
    "guided": ("--list", 0),
    "judge": ("one.csv --part solenoid --no-report", 0),
    "compare": ("1 2 --book b.book --no-report", 0),
    "learn": ("--part solenoid --book b.book --good L7-005,L7-006,L7-007,L7-008 -o learnt.toml --force", 0),
    "measure": ("--sim solenoid --max-current 2 -o unknown.toml --force", 0),
    "report": ("1 --book b.book -o one.html", 0),
    "why": ("2 --book b.book", 0),
    "connect": ("solenoid --sim", 0),
    "book list": ("--book b.book", 0),
    "book show": ("2 --book b.book", 0),
    "book find": ("--customer nobody --book b.book", 0),
    "book note": ("1 'came back' --book b.book", 0),
    "book trend": ("pull_in_current --book b.book", 0),
    "book export": ("--csv two.csv --force --book b.book", 0),
    "book backup": ("copy.book --book b.book", 0),
    "book check": ("--book b.book", 0),
    "book recover": ("saved.book --book b.book", 0),
    "export": ("1 --book b.book --csv three.csv --force", 0),
    "job new": ("--vehicle 'van, 2009, of the second lot, without a plate' --book b.book", 0),
    "job list": ("--book b.book", 0),
    "job show": ("1 --book b.book", 0),
    "job change": ("1 --done 'cleaned and put back with a new gasket' --book b.book", 0),
    "job add": ("1 2 --as after --book b.book", 0),
    "job photo": ("1 nothing.jpg --book b.book", 6),
    "job sign": ("2 --by somebody --book b.book", 2),
    "job report": ("1 -o job.html --book b.book", 0),
    "parts": ("solenoid", 0),
    "ports": ("", 0),
    "info": ("--sim", 0),
    "stop": ("--port nowhere", 4),
    "clear": ("--port nowhere", 4),
    "bringup": ("--sim --list", 0),
    "calibrate": ("--sim --dry-run --fresh", 0),
    "faults": ("", 0),
    "watch": ("--sim --count 2 --every 0.05", 0),
    "lesson": ("2 --run -o two.svg", 0),
    "completion": ("bash", 0),
}


def commands(top: argparse.ArgumentParser, name: str = "") -> Iterator[tuple[str, argparse.ArgumentParser]]:
    """Yield name and parser of every command that can be given."""
    below = [part for part in top._actions if isinstance(part, argparse._SubParsersAction)]
    for action in below:
        for word, sub in action.choices.items():
            yield from commands(sub, f"{name} {word}".strip())
    if not below:
        yield name, top


ALL = dict(commands(parser()))
HERE = [name for name in TRIED if name in ALL]


@pytest.fixture(scope="module")
def workshop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a job book of six runs, five of them of good parts and a CSV file."""
    folder = tmp_path_factory.mktemp("workshop")
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(folder)
        codes = [main(shlex.split(line)) for line in PREPARE]
    assert codes == [0, 1, 0, 0, 0, 0, 0, 0, 0, 0]
    return folder


@pytest.fixture
def narrow(workshop: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """In that folder, at a terminal of 80 columns."""
    monkeypatch.chdir(workshop)
    for made in ("copy.book", "saved.book"):
        (workshop / made).unlink(missing_ok=True)
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.setenv("NO_COLOR", "1")
    return workshop


def test_all_are_tried_or_said_why_not() -> None:
    assert set(ALL) - set(TRIED) - set(ELSEWHERE) == set()
    assert len(HERE) > 20


@pytest.mark.parametrize("name", ALL)
def test_offers_json_and_its_help_fits(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    text = ALL[name].format_help()
    assert ("--json" in text) == (name not in WITHOUT_JSON)
    assert max(map(len, text.splitlines())) <= 80


@pytest.mark.parametrize("name", [name for name in HERE if name not in WITHOUT_JSON])
def test_json_and_nothing_else(name: str, narrow: Path, capsys: pytest.CaptureFixture[str]) -> None:
    args, code = TRIED[name]
    assert main([*name.split(), *shlex.split(args), "--json"]) == code
    told = capsys.readouterr().out.splitlines()
    results: list[Any] = [json.loads(line) for line in told]
    assert len(results) == (2 if name == "watch" else 1) and all(result != {} for result in results)
    if code >= 2 and "verdict" not in results[0]:
        assert results[0]["error"] and results[0]["exit_code"] == code


def with_marks(names: Iterable[str]) -> Iterator[object]:
    """A command whose package only an export needs is tried where that is installed."""
    for name in names:
        yield pytest.param(name, marks=pytest.mark.extras if NEEDS.get(name) == "pyarrow" else ())


@pytest.mark.parametrize("name", list(with_marks(HERE)))
def test_fits_eighty_columns_without_colour(
    name: str, narrow: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    if name in NEEDS:
        pytest.importorskip(NEEDS[name])
    monkeypatch.setenv("FORCE_COLOR", "1")  # what is no terminal would get no colour anyway
    args, code = TRIED[name]
    assert main([*name.split(), *shlex.split(args)]) == code
    shown = capsys.readouterr()
    assert not COLOUR.search(shown.out + shown.err)
    if name == "completion":
        return  # for a shell, not for people
    plain = re.sub(r"\x1b\[[0-9;?]*[a-zA-Z]", "", shown.out + shown.err)
    lines = re.split(r"[\r\n]", plain)
    assert any(lines) and [line for line in lines if len(line) > 80] == []


def test_there_would_be_colour(
    workshop: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The check for colour can fail."""
    monkeypatch.chdir(workshop)
    monkeypatch.setenv("FORCE_COLOR", "1")
    monkeypatch.delenv("NO_COLOR", raising=False)
    assert main(["book", "show", "2", "--book", "b.book"]) == 0
    assert COLOUR.search(capsys.readouterr().out)


def test_a_row_of_a_table_stays_readable(narrow: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Words that do not fit go on in their own column; run, time and verdict stay whole."""
    assert main(["book", "list", "--book", "b.book"]) == 0
    shown = capsys.readouterr().out
    first = next(line for line in shown.splitlines() if line.startswith("1 "))
    assert re.match(r"1 +\d{4}-\d\d-\d\d[ T]\d\d:\d\d .* pass ", first), shown
    assert "solenoid" in shown and "fail" in shown

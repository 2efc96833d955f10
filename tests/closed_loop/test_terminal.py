"""jog and watch as a person sees them: a real pseudo terminal, real keys, the screen's last line."""

from __future__ import annotations

import json
import re
import subprocess
from pathlib import Path

import pytest

from tests.helpers.process import strokebench
from tests.helpers.terminal import person

pytestmark = pytest.mark.slow

LINE = re.compile(r"\[[.#|]+\] ([+-]\d\.\d\d) +([+-]\d+\.\d\d) A")


def test_keys_move_space_stops_and_a_hold_runs_out(tmp_path: Path) -> None:
    with person("jog", "throttle-body", "--sim", "--strength", "0.4", cwd=tmp_path) as terminal:
        terminal.until(r"armed")
        terminal.type("\x1b[C")
        terminal.until(r"\] \+0\.40 ")
        terminal.until(r"\] \+0\.00 ")  # nothing more pressed
        terminal.type("h")
        terminal.until(r"\] -0\.40 ")
        terminal.type(" ")
        terminal.until(r"\] [+-]0\.00 ")
        terminal.type("k")
        terminal.until(r"strength 0\.45")
        terminal.type("q")
        assert terminal.process.wait(20) == 0
        terminal.rest()
        lines = [line for line in re.split(r"[\r\n]+", terminal.seen) if "strength" in line]
        assert len(lines) > 5 and max(map(len, lines)) <= 80
        assert "\x1b" not in terminal.seen, "nothing that a plain terminal could not show"
        moved = [float(drive) for drive, _amps in LINE.findall(terminal.seen)]
        assert (min(moved), max(moved)) == (-0.4, 0.4)


def test_with_json_the_last_reading_is_the_last_line(tmp_path: Path) -> None:
    with person("jog", "throttle-body", "--sim", "--json", cwd=tmp_path) as terminal:
        terminal.until("armed")
        terminal.type("q")
        assert terminal.process.wait(20) == 0
        last = re.split(r"[\r\n]+", terminal.until(r"\}\s*$"))[-2]
        assert json.loads(last)["drive"] == 0


@pytest.mark.parametrize("key", ["\x1b", "\x03"])
def test_escape_and_interrupt_leave_and_restore_the_terminal(key: str, tmp_path: Path) -> None:
    import termios

    with person("jog", "throttle-body", "--sim", cwd=tmp_path) as terminal:
        before = termios.tcgetattr(terminal.number)
        terminal.until("armed")
        assert termios.tcgetattr(terminal.number) != before
        terminal.type(key)
        assert terminal.process.wait(20) == (0 if key == "\x1b" else 130)
        assert termios.tcgetattr(terminal.number) == before


def test_without_a_terminal_one_sentence(tmp_path: Path) -> None:
    result = strokebench("jog", "throttle-body", "--sim", cwd=tmp_path, stdin=subprocess.DEVNULL)
    assert result.returncode == 2
    assert result.stderr.startswith("Error: jog needs a terminal")
    assert "Traceback" not in result.stderr


def test_watch_in_lines_and_in_json(tmp_path: Path) -> None:
    shown = strokebench("watch", "--sim", "--every", "0.05", "--count", "3", cwd=tmp_path).stdout
    assert len(shown.splitlines()) == 3
    assert max(map(len, shown.splitlines())) < 80
    assert " V" in shown
    lines = strokebench("watch", "--sim", "--every", "0.05", "--count", "2", "--json", cwd=tmp_path).stdout
    told = [json.loads(line) for line in lines.splitlines()]
    assert len(told) == 2
    assert told[0]["drive"] == 0
    assert 10 < told[0]["terminals_v"] < 15


@pytest.mark.parametrize("quiet", [True, False])
def test_no_color_is_honoured_on_a_terminal(quiet: bool, tmp_path: Path) -> None:
    more = {"TERM": "xterm-256color", **({} if quiet else {"NO_COLOR": ""})}
    with person("judge", "missing.csv", cwd=tmp_path, **more) as terminal:
        terminal.until("missing")
        coloured = re.search(r"\x1b\[[0-9;]*3[0-7]m", terminal.seen)
        assert bool(coloured) is not quiet

"""``strokebench panel`` as a process: plain sentences, and an end that leaves the part off."""

from __future__ import annotations

import json
import signal
import socket
import subprocess
import sys
from pathlib import Path

import pytest

from tests.helpers.process import ROOT, environment, strokebench
from tests.panel.stage import PanelProcess

NO_NICEGUI = """
import sys
sys.modules["nicegui"] = None
from strokebench.cli import main
sys.exit(main(["panel", "--sim", "throttle-body"]))
"""


def test_without_the_extra_it_says_what_to_install(tmp_path: Path) -> None:
    command = [sys.executable, "-c", NO_NICEGUI]
    done = subprocess.run(
        command, env=environment(), cwd=tmp_path, capture_output=True, text=True, timeout=60
    )
    assert done.returncode == 2
    assert "strokebench[panel]" in done.stderr and "Traceback" not in done.stderr


def test_a_port_that_is_taken_is_told(tmp_path: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        done = strokebench("panel", "--http-port", taken.getsockname()[1], cwd=tmp_path)
    assert done.returncode == 2 and "Cannot listen" in done.stderr and "--http-port" in done.stderr


def test_inject_needs_a_simulated_part(tmp_path: Path) -> None:
    done = strokebench("panel", "--inject", "binding", cwd=tmp_path)
    assert done.returncode == 2 and "--sim" in done.stderr


@pytest.mark.skipif(sys.platform == "win32", reason="no SIGINT for another process on Windows")
def test_ctrl_c_ends_it_in_a_sentence(tmp_path: Path) -> None:
    panel = PanelProcess(tmp_path, "--sim", "throttle-body", "--json")
    assert json.loads(panel.lines[0]) == {"url": f"{panel.url}/"}
    panel.process.send_signal(signal.SIGINT)
    code, said = panel.end()
    assert code in (0, 130) and "Traceback" not in said


def test_nothing_else_imports_the_panel() -> None:
    """Only its command does, inside a function, and the network instrument, which shares its thread."""
    for path in sorted((ROOT / "host" / "strokebench").rglob("*.py")):
        if {"panel", "scpi"} & {*path.parts} or path.name in ("panel.py", "serve.py"):
            continue
        assert "strokebench.panel" not in path.read_text(encoding="utf-8"), path

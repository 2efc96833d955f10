"""The worked examples of the manual against a served bench: a PyMeasure instrument and a bluesky device."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from tests.helpers.process import ROOT, environment
from tests.scpi.conftest import Served

pytestmark = [pytest.mark.extras, pytest.mark.slow]
FOLDER = ROOT / "docs" / "how-to" / "instrument"


def run(name: str, served: Served, folder: Path) -> str:
    command = [sys.executable, str(FOLDER / name), served.resource, "short"]
    done = subprocess.run(command, cwd=folder, env=environment(), capture_output=True, text=True, timeout=120)
    assert done.returncode == 0, done.stderr
    return done.stdout


def test_pymeasure(served: Served, tmp_path: Path) -> None:
    pytest.importorskip("pymeasure")
    lines = run("with_pymeasure.py", served, tmp_path).splitlines()
    currents = [float(line.split()[2]) for line in lines[:3]]
    assert 0 < currents[0] < currents[1] < currents[2]
    assert lines[3].split(": ")[1] in ("PASS", "FAIL", "INC")


def test_bluesky(served: Served, tmp_path: Path) -> None:
    pytest.importorskip("bluesky")
    lines = run("with_bluesky.py", served, tmp_path).splitlines()
    assert len(lines) == 3 and all("duty_percent" in line and "current_a" in line for line in lines)

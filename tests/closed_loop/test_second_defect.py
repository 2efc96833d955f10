"""A pump with a bad commutator segment and a clogged filter: a new pump alone would not cure it."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tests.helpers.process import strokebench


@pytest.mark.slow
def test_the_report_names_the_clogged_filter_beside_the_bad_segment(tmp_path: Path) -> None:
    report = tmp_path / "report.html"
    defects = ("--inject", "bad_segment=2.0", "--inject", "clogged=0.7")
    done = strokebench("run", "fuel-pump", "--sim", "--seed", 42, *defects, "--report", report, cwd=tmp_path)
    assert done.returncode == 1 and "FAIL" in done.stdout
    front = report.read_text("utf-8").split("Technical annex")[0]
    words = re.sub(r"<[^>]+>|\s+", " ", front)
    assert re.search(r"Bad commutator segment or coil\..+Next: .*Replace the motor", words)
    assert re.search(r"Outlet, filter or impeller clogged\..+Next: .*Check filter", words)
    assert "Starts slowly" not in words  # it only follows from the segment

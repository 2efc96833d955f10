"""The table of deviations in docs/simulation.md is what comes out: the quick ones are made again."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tests.helpers.plant_deviations import BEGIN, END, ROWS, Row

PAGE = (Path(__file__).resolve().parents[2] / "docs" / "simulation.md").read_text(encoding="utf-8")
TABLE = PAGE.partition(BEGIN)[2].partition(END)[0]
QUICK = [row for row in ROWS if row.quick]


def told(row: Row) -> float:
    """Return the deviation that the page tells, %."""
    head = re.escape(f"| {row.what} | {row.against} | {row.of} | ")
    found = re.search(head + r"(below )?([-\d.e]+) %", TABLE)
    assert found is not None, f"not on the page: {row.what}, {row.against}"
    return 0.0 if found[1] else float(found[2])


def test_every_comparison_is_on_the_page_and_within_what_is_promised() -> None:
    assert TABLE.count("\n| ") == len(ROWS) + 2
    for row in ROWS:
        assert abs(told(row)) < 5.0, "beyond that the plant would have to be mended, not the table"


@pytest.mark.parametrize("row", QUICK, ids=lambda row: f"{row.what}, {row.against}")
def test_the_page_tells_what_comes_out(row: Row) -> None:
    assert row.work_out() == pytest.approx(told(row), rel=0.1, abs=1e-3)

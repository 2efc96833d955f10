"""The fault matrix: complete, its cells from runs, and the promises that hold in every cell."""

from __future__ import annotations

from pathlib import Path

import pytest
from strokefw import faults, state
from strokefw.guard import limits as guard_limits
from strokefw.link import wire
from tools.chip import waits
from tools.evidence.faults.causes import CAUSES, LIMITS, Cause
from tools.evidence.faults.matrix import STATES, STOPPING_SLEW, run
from tools.evidence.faults.page import CHIP_TITLE, REQUESTS_TITLE, _line, shown

pytestmark = pytest.mark.slow

PAGE = (Path(__file__).resolve().parents[2] / "docs" / "fault-matrix.md").read_text("utf-8")
SLOW = {faults.BUDGET_BENCH, faults.REGEN_SLOWED, faults.REGEN_HIGH}
IDS = [f"{cause.code}-{faults.row(cause.code)[1]}" for cause in CAUSES]


def test_every_code_has_a_cause_or_is_an_answer() -> None:
    shown = {cause.code for cause in CAUSES}
    for row in faults.TABLE:
        # on another chip nothing starts that could have a state: tests/chip/test_link_start.py
        assert row[0] in shown or row[0] // 10 == 7 or row[0] == faults.WRONG_CHIP, row[1]
    assert tuple(LIMITS) == wire.FIELDS[wire.ID["limits"]]
    assert LIMITS["flags"] & guard_limits.PART_EXPECTED


@pytest.mark.parametrize("cause", CAUSES, ids=IDS)
def test_driving(cause: Cause) -> None:
    cell = run(cause, state.DRIVING)
    assert _line(cause, cell) in PAGE, "run: python -m tools.evidence.faults.page"
    told = faults.SEVERITY[cell.code]
    slew = {**LIMITS, **cause.limits}["slew_per_ms"]
    assert cell.worst_step <= slew
    if told == faults.OFF:
        assert cell.off_after is not None and cell.off_after == cell.told_after, (
            "off in the tick that tells it"
        )
    elif told == faults.STOP:
        assert cell.off_after is not None and cell.off_after - cell.told_after <= 10000 // slew + 1
    if told >= faults.STOP:
        assert cell.ends_in == (state.LATCHED if faults.LATCHED[cell.code] else state.READY)
        assert cell.row_code == cell.code and cell.end_code == cell.code
    else:
        assert cell.ends_in == state.DRIVING
    assert "not within" not in cell.recovery


@pytest.mark.parametrize("cause", [known for known in CAUSES if known.code not in SLOW][::5])
def test_other_states(cause: Cause) -> None:
    for where in STATES:
        cell = run(cause, where)
        assert _line(cause, cell) in PAGE, "run: python -m tools.evidence.faults.page"
        assert cell.worst_step <= (STOPPING_SLEW if where == state.STOPPING else LIMITS["slew_per_ms"])


def test_page_has_a_line_for_every_cause_and_state() -> None:
    lines = [line for line in PAGE.splitlines() if line.startswith("| ")]
    for cause in CAUSES:
        for where in STATES:
            head = f"| {cause.code} | {cause.how} | {state.NAMES[where]} |"
            assert sum(line.startswith(head) for line in lines) == 1, head


def test_page_has_a_row_as_promised_for_every_cause_that_only_the_chip_has() -> None:
    """From one run of python -m tools.chip.waits; tests/chip/test_firmware.py makes them anew."""
    section = PAGE.partition(CHIP_TITLE)[2].partition(REQUESTS_TITLE)[0]
    rows = [line for line in section.splitlines() if line.startswith("| ")][2:]
    assert len(rows) == len(waits.CAUSES)
    for cause, row in zip(waits.CAUSES, rows, strict=True):
        code, how, _, told, _, off, ends_in, resets, _, _ = row.strip("| ").split(" | ")
        assert (code, how) == (str(cause.code or "-"), cause.how)
        assert told == shown(cause.code) and resets == "0"
        assert (off == "on", ends_in) == ((True, "driving") if cause.hears else (False, "latched"))

"""STOP while things go wrong: off within 100 ms, or the page says within 500 ms that nobody confirmed it."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import pytest

from tests.helpers.witnessed_bench import Witness
from tests.panel import chaos
from tests.panel.conftest import too_busy
from tests.panel.stage import PanelProcess

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="no process can be paused there")

Stage = tuple[Witness, PanelProcess]
SHORT = ("plain", "paused", "cut", "slow", "crowd", "comparing")
"""The usual run has two presses of these; test_lifeline_browser.py has the killed program. Two loops on each
core would take the time of all other tests: .ci/run does that test alone, at its end."""
TRIES = 3


def _check(pressed: list[chaos.Press]) -> None:
    broken = [press for press in pressed if not press.kept]
    if broken and too_busy():
        pytest.skip(too_busy())
    assert pressed and not broken, f"{len(broken)} of {len(pressed)}: {broken}"


@pytest.mark.slow
@pytest.mark.parametrize("name", SHORT)
def test_two_presses(driver_of_browsers: Any, page: Any, stage: Stage, tmp_path: Path, name: str) -> None:
    """On one bench and one page for all of them.

    Other tests run on the same cores: what they spoil is tried again. Fifty presses are not.
    """
    page.spoiled = True
    here = chaos.Scene(driver_of_browsers, page, *stage, tmp_path)
    for _ in range(TRIES):
        pressed = chaos.presses(here, name, 2)
        if all(press.kept for press in pressed):
            break
    _check(pressed)


@pytest.mark.long
def test_two_presses_with_two_loops_on_each_core(driver_of_browsers: Any) -> None:
    """Alone on the computer: the loops are all the load that is meant. Minutes beside others."""
    for _ in range(TRIES):
        found = chaos.measured(driver_of_browsers, "busy", 2)
        pressed = [chaos.Press(**press) for press in found["presses"]]
        if all(press.kept for press in pressed):
            break
    _check(pressed)


@pytest.mark.long
@pytest.mark.parametrize("name", sorted(chaos.TROUBLES))
def test_fifty_presses(driver_of_browsers: Any, name: str) -> None:
    found = chaos.measured(driver_of_browsers, name, chaos.PRESSES)
    _check([chaos.Press(**press) for press in found["presses"]])


def test_the_promise_can_be_broken() -> None:
    """The check itself can fail."""
    assert chaos.Press(90.0, None, 120.0).kept and chaos.Press(900.0, 450.0, None).kept
    assert not chaos.Press(140.0, None, 160.0).kept and not chaos.Press(900.0, 600.0, None).kept
    assert not chaos.Press(-5.0, None, 100.0).kept, "off before the key: it was not the STOP"

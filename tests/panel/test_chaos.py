"""STOP while things go wrong: off within 100 ms, or the page says within 500 ms that nobody confirmed it."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import pytest

from tests.panel import chaos
from tests.panel.conftest import too_busy

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="no process can be paused there")


def _check(presses: list[chaos.Press]) -> None:
    broken = [press for press in presses if not press.kept]
    if broken and too_busy():
        pytest.skip(too_busy())
    assert presses and not broken, f"{len(broken)} of {len(presses)}: {broken}"


@pytest.mark.slow
def test_a_few_presses_with_pages_that_watch(driver_of_browsers: Any, tmp_path: Path) -> None:
    """The slice that the usual run has room for; the paused and the killed program are in other files."""
    _check(chaos.crowd(driver_of_browsers, tmp_path, 2, pages=20))


@pytest.mark.long
@pytest.mark.parametrize("name", sorted(chaos.SCENARIOS))
def test_fifty_presses(driver_of_browsers: Any, tmp_path: Path, name: str) -> None:
    _check(chaos.SCENARIOS[name][1](driver_of_browsers, tmp_path, chaos.PRESSES))


def test_the_promise_can_be_broken() -> None:
    """The check itself can fail."""
    assert chaos.Press(90.0, None, 120.0).kept and chaos.Press(900.0, 450.0, None).kept
    assert not chaos.Press(140.0, None, 160.0).kept and not chaos.Press(900.0, 600.0, None).kept
    assert not chaos.Press(-5.0, None, 100.0).kept, "off before the key: it was not the STOP"

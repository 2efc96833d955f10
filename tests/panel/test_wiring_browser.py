"""The wiring's page in a real browser: check, gentle move, pin finder, and STOP meanwhile."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Any

import pytest

from tests.helpers.witnessed_bench import Witness
from tests.panel.conftest import banners, clear_fault, comes, open_page, too_busy
from tests.panel.stage import PanelProcess
from tests.panel.test_wiring import troubles

pytestmark = pytest.mark.slow

Stage = tuple[Witness, PanelProcess]
ASKED = '[data-question="clips"]:visible, [data-question="connect"]:visible'
SAID = '[data-wire="headline"]'


@pytest.fixture
def wiring(page: Any, stage: Stage) -> Any:
    """The wiring's page with the controls; afterwards the tab shows the bench's page again."""
    page.goto(f"{stage[1].url}/connect")
    page.wait_for_selector('[data-wiring="check"]:enabled, [data-do="take"]:visible', timeout=30_000)
    # pressed only if it is there: news that come meanwhile take it away
    page.eval_on_selector_all(
        '[data-do="take"]', "all => all.filter(e => e.offsetParent).forEach(e => e.click())"
    )
    yield page
    page.goto(stage[1].url)


def press(page: Any, deed: str) -> None:
    """Press a button of the wiring as soon as it may be pressed."""
    page.click(f'[data-wiring="{deed}"]:enabled', timeout=30_000)


def in_time_or_busy(deadline_s: float, what: object) -> None:
    """Fail after the deadline; on a computer that is overloaded skip, since the dead-man ends each try."""
    if time.monotonic() > deadline_s:
        if too_busy():
            pytest.skip(too_busy())
        raise AssertionError(what)


def checked(page: Any) -> str:
    """Have the wiring checked at rest; again where a busy computer broke it off. Return the headline."""
    deadline_s = time.monotonic() + 60
    while True:
        press(page, "check")
        if comes(page, f"{SAID}:not(:empty)", 10.0):
            return str(page.inner_text(SAID))
        in_time_or_busy(deadline_s, banners(page))
        if page.is_visible('[data-show="fault"]'):
            clear_fault(page)


def moved_gently(page: Any) -> str:
    """Say that all hands are clear, until the gentle move has been made to its end; return the headline."""
    deadline_s = time.monotonic() + 120
    while not comes(page, f'{SAID}[data-drawn="true"], {SAID}[data-drawn="false"]', 1.0):
        in_time_or_busy(deadline_s, page.inner_text(SAID))
        if page.is_visible('[data-question="move"]') and page.is_enabled('[data-wiring="gently"]'):
            press(page, "gently")
            comes(page, f"{SAID}[data-drawn]:not([data-drawn='null'])", 20.0)
        elif page.is_visible('[data-show="fault"]'):
            clear_fault(page)
    return str(page.inner_text(SAID))


def test_check_gentle_move_and_result(wiring: Any) -> None:
    assert checked(wiring) == "At rest everything reads as drawn"
    assert moved_gently(wiring) == "\u2713 Connected as drawn"


def test_stop_ends_the_gentle_move(wiring: Any, stage: Stage) -> None:
    checked(wiring)
    press(wiring, "gently")
    wiring.wait_for_selector('body[data-phase="gentle"]', timeout=30_000)
    wiring.keyboard.press("Space")
    wiring.wait_for_selector('[data-stop-state][data-state="off"]', timeout=10_000)
    assert not stage[0].driven
    assert wiring.is_visible('[data-question="move"]'), "it may be asked for again"


def test_leaving_the_page_ends_the_gentle_move(wiring: Any, stage: Stage) -> None:
    checked(wiring)
    press(wiring, "gently")
    wiring.wait_for_selector('body[data-phase="gentle"]', timeout=30_000)
    wiring.goto(f"{stage[1].url}/book")
    stage[0].off_after(time.time())


def simulated(context: Any, folder: Path, *args: object) -> tuple[PanelProcess, Any]:
    """Return a panel on a simulated bench with the wiring's page open and in control."""
    panel = PanelProcess(folder, *args)
    page = open_page(context, panel.url)
    page.goto(f"{panel.url}/connect")
    return panel, page


def test_a_throttle_body_with_a_wrong_wire_is_named(context: Any, tmp_path: Path) -> None:
    wires = troubles("throttle-body", ("ground", "sensor_a"))
    options = [word for wire in wires for word in ("--trouble", wire)]
    panel, page = simulated(context, tmp_path, "--sim", "throttle-body", *options)
    try:
        assert checked(page) == "\u2717 Not connected as drawn"
        said = page.inner_text('[data-wire="sentences"]')
        assert "Sensor ground and sensor input A are swapped" in said, said
    finally:
        page.close()
        panel.end()


def test_the_pins_of_an_unknown_plug_are_found_and_checked(context: Any, tmp_path: Path) -> None:
    panel, page = simulated(context, tmp_path, "--sim", "fuel-pump")
    try:
        page.click("summary:has-text('unknown plug')")
        press(page, "find")
        for _ in range(8):
            found = page.wait_for_selector(
                '[data-question="clips"]:visible, [data-question="connect"]:visible'
            )
            if found.get_attribute("data-question") == "connect":
                break
            before = page.locator('[data-wire="measured"] li').count()
            press(page, "touch")
            page.wait_for_function(
                "n => document.querySelectorAll('[data-wire=\"measured\"] li').length > n", arg=before
            )
        assert "Winding: pins" in page.inner_text('[data-wire="sentences"]')
        assert "case" in page.inner_text('[data-wire="measured"]')
        press(page, "connected")
        page.wait_for_selector('[data-question="polarity"]:visible')
        press(page, "polarity yes")
        page.wait_for_selector(f'{SAID}[data-drawn="true"]')
        assert page.complaints == []
    finally:
        page.close()
        panel.end()


def test_a_page_that_only_watches_cannot_move_it(wiring: Any, context: Any, stage: Stage) -> None:
    other = open_page(context, stage[1].url)
    other.goto(f"{stage[1].url}/connect")
    other.wait_for_selector('[data-do="take"]:visible')
    other.wait_for_selector('[data-wiring="check"]:disabled', timeout=10_000)  # from its first news on
    other.close()
    wiring.wait_for_selector(
        '[data-wiring="check"]:enabled', timeout=10_000
    )  # the first page has the controls

"""The lifeline in a real browser: what a page claims when the program hangs, dies or comes back."""

from __future__ import annotations

import os
import signal
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from strokebench.book.book import Book

from tests.helpers.witnessed_bench import Witness
from tests.panel.chaos import NOTE_WORDS, TOLD_MS
from tests.panel.conftest import (
    comes,
    in_time,
    jog_by_key,
    open_page,
    reach_bench,
    supply_on,
    take_controls,
    too_busy,
    unless_busy,
)
from tests.panel.long_run import long_run
from tests.panel.stage import PanelProcess

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(sys.platform == "win32", reason="no process can be paused there"),
]

Stage = tuple[Witness, PanelProcess]
STATE = "[data-stop-state]"
HAND_SEEN = "() => /by hand/.test(document.querySelector('[data-out=says]').textContent)"
STOP_BUTTON = '[data-do="stop"]'


def stop_state(page: Any, text: str, limit_s: float = 5.0) -> bool:
    """Return True as soon as the bar says ``text`` of the last STOP."""
    return in_time(
        page.wait_for_function,
        "(text) => document.querySelector('[data-stop-state]').textContent.includes(text)",
        arg=text,
        limit_s=limit_s,
    )


def press_stop(page: Any) -> None:
    page.locator(STOP_BUTTON).dispatch_event("pointerdown", {"button": 0})


def test_a_stop_is_sent_then_confirmed_by_the_bench(page: Any, stage: Stage) -> None:
    supply_on(page)
    jog_by_key(page, stage[0])
    press_stop(page)
    stage[0].off_after(time.time())
    assert stop_state(page, "Confirmed")


LOST = {
    "socket": """() => {
        const send = WebSocket.prototype.send;
        WebSocket.prototype.send = function (text) { if (!text.includes('"stop"')) send.call(this, text); };
    }""",
    "request": "() => { window.fetch = () => Promise.reject(new Error('lost')); }",
}
"""What becomes of a STOP that goes this way."""


@pytest.mark.parametrize("way", LOST)
def test_a_stop_goes_two_ways_and_each_is_enough(page: Any, stage: Stage, way: str) -> None:
    supply_on(page)
    jog_by_key(page, stage[0])
    try:
        page.evaluate(LOST[way])
        press_stop(page)
        stage[0].off_after(time.time())
        assert stop_state(page, "Confirmed")
        page.keyboard.up("ArrowRight")
    finally:
        page.reload()
        reach_bench(page)


def test_a_paused_server_is_told_and_stop_is_not_confirmed(page: Any, stage: Stage) -> None:
    """Before: "Moving by hand", 1.73 A, buttons enabled; STOP said nothing."""
    witness, panel = stage
    page.spoiled = True
    supply_on(page)
    jog_by_key(page, witness)
    panel.process.send_signal(signal.SIGSTOP)
    try:
        paused_s = time.time()
        assert comes(page, "body.stale", 5.0)
        words = page.inner_text('[data-out="says"]')
        assert "not known" in words and "Moving" not in words
        assert page.locator("[data-needs]:enabled").count() == 0
        style = page.locator(".reading .number").first.evaluate(
            "(e) => getComputedStyle(e).textDecorationLine"
        )
        assert style == "line-through"
        assert "stopped" not in page.inner_text('[data-show="offline"]')
        press_stop(page)
        assert stop_state(page, "NOT CONFIRMED: use the stop button", 5.0)
        witness.off_after(paused_s)  # the bench's own limit for a host that is gone
    finally:
        panel.process.send_signal(signal.SIGCONT)
    page.keyboard.up("ArrowRight")
    assert stop_state(page, "Confirmed", 10.0), "the STOP was not sent again"


def test_a_bench_that_answered_late_is_reached_again_by_one_press(page: Any, stage: Stage) -> None:
    """Before: the port that the program was started with had to be typed."""
    os.kill(stage[0].process.pid, signal.SIGSTOP)
    try:
        page.wait_for_selector('body[data-phase="none"]', timeout=20_000)
    finally:
        os.kill(stage[0].process.pid, signal.SIGCONT)
    page.click('[data-do="open"]')
    page.wait_for_selector('body[data-phase="idle"]', timeout=20_000)


@pytest.fixture(scope="module")
def other(browser: Any) -> Iterator[Any]:
    """A page of another window, so that the one that drives is not hidden."""
    window = browser.new_context()
    yield window.new_page()
    window.close()


@pytest.mark.parametrize("path", ["/book", "/report/{}", "/nowhere"])
def test_stop_on_another_page_stops_the_part(page: Any, other: Any, stage: Stage, path: str) -> None:
    """One of each kind: the panel's own frame, a report, an error. test_every_page.py has all of them."""
    witness, panel = stage
    other.goto(panel.url + path.format(long_run(panel.book, 2000)))
    for _ in range(4):
        jog_by_key(page, witness)
        if in_time(other.wait_for_function, HAND_SEEN, limit_s=5.0):
            break
        page.keyboard.up("ArrowRight")  # a busy computer: the dead-man let go meanwhile
    other.keyboard.press("Escape")
    witness.off_after(time.time())
    page.keyboard.up("ArrowRight")
    assert stop_state(other, "Confirmed"), path


def test_watching_pages_never_get_the_controls(stage: Stage, browser: Any) -> None:
    """A job book that is opened first used to be able to be the page that drives."""
    context = browser.new_context()
    book = context.new_page()
    book.goto(f"{stage[1].url}/book")
    book.wait_for_function(
        "() => document.querySelector('[data-out=says]').textContent !== 'Connecting to the panel'"
    )
    bench = open_page(context, stage[1].url)
    take_controls(bench)
    assert bench.is_enabled('[data-do="arm"]')
    context.close()


def test_keys_of_the_browser_move_nothing(page: Any, stage: Stage) -> None:
    supply_on(page)
    page.evaluate("() => window.addEventListener('keydown', (event) => event.preventDefault())")
    for key in ("Alt+ArrowRight", "Control+ArrowRight", "Meta+ArrowLeft"):
        page.keyboard.down(key.partition("+")[0])
        page.keyboard.down(key.partition("+")[2])
        time.sleep(0.3)  # a time is what is looked at: held for so long, it moves nothing
        assert not stage[0].driven, key
        page.keyboard.up(key.partition("+")[2])
        page.keyboard.up(key.partition("+")[0])


def test_the_slider_moved_while_held_drives_what_it_shows(page: Any, stage: Stage) -> None:
    """Before: it showed 75 % and drove 25 %."""
    witness, _ = stage
    supply_on(page)
    jog_by_key(page, witness)
    page.locator("#f-level").evaluate(
        "(slider) => { slider.value = 50; slider.dispatchEvent(new Event('input', { bubbles: true })); }"
    )
    assert page.inner_text("#level") == "50 %"
    page.wait_for_function(
        "() => Number(document.querySelector('[data-out=\"now.drive\"]').textContent) === 50"
    )
    page.keyboard.up("ArrowRight")


@pytest.fixture(scope="module")
def own(driver_of_browsers: Any, tmp_path_factory: pytest.TempPathFactory) -> Iterator[PanelProcess]:
    """A panel of its own with a procedure of some seconds, to be killed and left."""
    from tests.helpers.process import short_profile

    folder = tmp_path_factory.mktemp("own")
    panel = PanelProcess(folder, "--sim", str(short_profile(folder, 6.0)))
    yield panel
    panel.end()


SLOW_FRAMES = """() => {
    window.slow = setInterval(() => {
        const end = performance.now() + 450; while (performance.now() < end);
    }, 700);
}"""
PRESS = "(selector) => document.querySelector(selector).click()"
"""A click that does not wait until the slow page is at rest."""
SIZES = ((390, 700), (1280, 900))
VERDICT = ".stop-bar .verdict-line a"


@unless_busy
@pytest.mark.parametrize("busy", [False, True])
def test_a_page_loses_no_procedure_and_a_link_asks_before_it_ends_one(
    own: PanelProcess, browser: Any, busy: bool
) -> None:
    """``busy``: the page draws a frame of 0.45 s each 0.7 s, which ends a jog at once. Before: it ended a
    procedure, or none began."""
    context = browser.new_context(viewport={"width": 390, "height": 700})
    page = open_page(context, own.url)
    for _ in range(3):
        page.wait_for_selector('[data-do="run"]:enabled', timeout=60_000)
        if busy:
            page.evaluate(SLOW_FRAMES)
            page.wait_for_timeout(1500)  # a time is what is looked at: the page has measured its own frames
        page.evaluate(PRESS, '[data-do="run"]')
        if not comes(page, 'body[data-phase="run"]', 20.0):
            continue
        page.evaluate(PRESS, 'nav a[href="/book"]')
        page.wait_for_selector('[data-show="leaving"]:visible')
        page.evaluate(PRESS, '[data-here="stay"]')
        page.wait_for_selector(VERDICT, timeout=60_000)
        page.evaluate("() => clearInterval(window.slow)")
        assert page.url.rstrip("/") == own.url
        if "silent" not in page.inner_text(".banner.message"):
            break
    with Book(own.book, read_only=True) as book:
        outcome = book.load(book.last_run()).info["outcome"]
    assert outcome == "done"
    for width, height in SIZES:
        page.set_viewport_size({"width": width, "height": height})
        for place in (0, 100_000):
            page.evaluate("(y) => window.scrollTo(0, y)", place)
            box = page.locator(VERDICT).bounding_box()
            assert box is not None and 0 <= box["y"] <= height and box["x"] + box["width"] <= width
    page.click('[data-do="run"]')
    page.wait_for_selector('body[data-phase="run"]', timeout=60_000)
    page.click('nav a[href="/book"]')
    page.click('[data-here="leave"]')
    page.wait_for_url("**/book")
    context.close()


def test_a_killed_server_is_told_and_nothing_typed_is_lost_over_its_restart(
    driver_of_browsers: Any, browser: Any, tmp_path: Path
) -> None:
    """Before: "the part is stopped", which the page cannot know; then a reload that wiped what was typed."""
    panel = PanelProcess(tmp_path, "--sim", "throttle-body")
    context = browser.new_context()
    try:
        page = open_page(context, panel.url)
        page.evaluate("() => { window.same = true; }")
        page.fill("#f-customer", "Kestrel Garage")
        page.fill("#f-note", "squeals when cold")
        page.evaluate(NOTE_WORDS)
        panel.process.kill()
        page.keyboard.press("Escape")
        assert stop_state(page, "NOT CONFIRMED")
        told_ms = page.evaluate("() => window.told_ms")
        assert told_ms <= TOLD_MS or too_busy()
        assert comes(page, "body.stale", 5.0)
        said = page.inner_text("body")
        assert "part is stopped" not in said and "does not know" in said
        panel.end()
        panel = PanelProcess(tmp_path, "--sim", "throttle-body", "--http-port", panel.number)
        page.wait_for_selector("body:not(.stale)", timeout=60_000)
        reach_bench(page)
        assert stop_state(page, "Confirmed", 60.0), "the STOP was not sent again"
        assert page.evaluate("() => window.same"), "the page was loaded anew"
        assert page.input_value("#f-customer") == "Kestrel Garage"
        assert page.input_value("#f-note") == "squeals when cold"
        page.reload()  # also where somebody loads it anew
        page.wait_for_function("() => document.querySelector('#f-note').value === 'squeals when cold'")
    finally:
        context.close()
        panel.end()

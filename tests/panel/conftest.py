"""A real browser on a real panel on a witnessed bench; skipped where there is no Chromium."""

from __future__ import annotations

import functools
import os
import shutil
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, NoReturn

import pytest
from strokefw import faults

from tests.helpers.waiting import comes_true, wait_until
from tests.helpers.witnessed_bench import Witness
from tests.panel.stage import CutProxy, PanelProcess, panel_on_witness

FLAGS = ["--disable-gpu", "--disable-dev-shm-usage"] + (
    ["--no-sandbox"] if hasattr(os, "geteuid") and os.geteuid() == 0 else []
)


NOTE_STOP_KEYS = """
window.addEventListener('keydown', (event) => {
  if (event.key !== " " && event.key !== "Escape") return;
  window.pressed_ms = performance.timeOrigin + event.timeStamp;
}, true);
"""


PASSING = {str(faults.HEARTBEAT_LOST), str(faults.LEG_DIFFER)}
"""Not of the test's making: the computer was busy; the part still swung when the self-test looked."""
ARMED = 'body[data-phase="armed"]'


def too_busy() -> str:
    """Return why times taken now would say nothing about the panel; empty on a machine with room."""
    load = os.getloadavg()[0] / (os.cpu_count() or 1)
    return f"this computer is overloaded ({load:.1f} jobs per core): times say nothing" if load > 2.0 else ""


def unless_busy(test: Callable[..., None]) -> Callable[..., None]:
    """A run in real time that an overloaded computer spoils says nothing: the test is skipped."""

    @functools.wraps(test)
    def tried(*args: Any, **fixtures: Any) -> None:
        try:
            test(*args, **fixtures)
        except Exception:
            if too_busy():
                pytest.skip(too_busy())
            raise

    return tried


def give_up(why: str) -> NoReturn:
    """End the test: skipped on an overloaded computer, whose dead-man lets nothing move, else failed."""
    if too_busy():
        pytest.skip(too_busy())
    raise AssertionError(why)


def chromium() -> str | None:
    """Return the path of an installed Chromium or Chrome."""
    names = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
    return next((path for path in map(shutil.which, names) if path), None)


@pytest.fixture(scope="module")
def driver_of_browsers() -> Iterator[Any]:
    """Playwright, for one file at a time: while it is there no other test can run an event loop."""
    if sys.platform == "win32":
        pytest.skip("the witnessed bench needs a pseudo terminal")
    if chromium() is None:
        pytest.skip("no chromium here: the panel was not tried in a browser")
    api = pytest.importorskip("playwright.sync_api")
    with api.sync_playwright() as playwright:
        yield playwright


@pytest.fixture(scope="module")
def browser(driver_of_browsers: Any) -> Iterator[Any]:
    opened = driver_of_browsers.chromium.launch(executable_path=chromium(), args=FLAGS)
    yield opened
    opened.close()


@pytest.fixture(scope="module")
def stage(
    driver_of_browsers: Any, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[tuple[Witness, PanelProcess]]:
    """One bench and one panel for all tests of a file; they leave them as they found them."""
    with panel_on_witness(tmp_path_factory.mktemp("stage"), "--part", "throttle-body") as both:
        yield both


@pytest.fixture(scope="module")
def context(browser: Any) -> Iterator[Any]:
    """One context, so that a second page finds its files in the browser's cache."""
    opened = browser.new_context(viewport={"width": 1280, "height": 900})
    yield opened
    opened.close()


@pytest.fixture
def page(context: Any, stage: tuple[Witness, PanelProcess]) -> Iterator[Any]:
    """A page that drives, on a bench at rest; a page that a test left in order is used again."""
    ready = [tab for tab in context.pages if tab.url.rstrip("/") == stage[1].url]
    for tab in context.pages:
        if tab not in ready[:1]:
            tab.close()
    opened = ready[0] if ready else open_page(context, stage[1].url)
    take_controls(opened)
    if opened.is_visible('[data-show="fault"]'):  # a test that failed left it, or a busy computer made it
        stage[0].emergency(False)
        clear_fault(opened)
    yield opened
    if opened.is_closed() or getattr(opened, "spoiled", False):
        opened.close()
    else:
        for key in ("ArrowLeft", "ArrowRight", "Enter", "Escape"):
            opened.keyboard.up(key)
        opened.mouse.up()
        opened.keyboard.press("Escape")
        opened.keyboard.up("Escape")
    wait_until(lambda: not stage[0].driven, "the part still moves after the test")


def open_page(context: Any, url: str) -> Any:
    """Open the bench's page, connected; what the browser complains about is kept."""
    page = context.new_page()
    page.complaints = []
    page.on("pageerror", lambda error: page.complaints.append(str(error)))
    page.add_init_script(NOTE_STOP_KEYS)
    answer = page.goto(url)
    assert answer.status == 200, page.content()
    page.wait_for_selector('[data-out="says"]')
    reach_bench(page)
    return page


def reach_bench(page: Any, limit_s: float = 60.0) -> None:
    """Return when the bench is there, at rest; one that a busy computer lost is connected anew."""
    deadline_s = time.monotonic() + limit_s
    while not comes(page, 'body[data-phase="idle"]', 5.0):
        phase, says = page.get_attribute("body", "data-phase"), page.inner_text('[data-out="says"]')
        assert time.monotonic() < deadline_s, f"no bench at rest: {phase}, {says}, {banners(page)}"
        if phase == "none":
            take_controls(page)
            page.click('[data-do="open"]')


def own_browser_through_proxy(
    playwright: Any, panel: PanelProcess, profile: Path, **more: Any
) -> tuple[Any, CutProxy]:
    """Start a browser of its own that reaches the panel through a line that can be cut."""
    proxy = CutProxy(panel.number)
    rule = f"--host-resolver-rules=MAP 127.0.0.1:{panel.number} 127.0.0.1:{proxy.port}"
    context = playwright.chromium.launch_persistent_context(
        str(profile), executable_path=chromium(), args=[*FLAGS, rule], **more
    )
    return context, proxy


def take_controls(page: Any) -> None:
    """Have the controls; a page before may have left them with somebody, or given them away."""
    page.wait_for_selector('[data-do="take"]:visible, [data-do="open"]:enabled', timeout=30_000)
    if page.is_visible('[data-do="take"]'):
        page.click('[data-do="take"]')
    page.wait_for_selector('[data-do="open"]:enabled', timeout=10_000)


def in_time(wait: Callable[..., object], *what: object, limit_s: float, **more: object) -> bool:
    """Do one of Playwright's waits; return False when it takes longer than ``limit_s``."""
    try:
        wait(*what, timeout=1000 * limit_s, **more)
    except Exception as error:
        if "Timeout" not in type(error).__name__:
            raise
        return False
    return True


def says(page: Any, text: str, banner: str = "message") -> None:
    """Return when a banner shows this."""
    page.wait_for_function(
        """([banner, text]) => {
            const shown = document.querySelector(`[data-show="${banner}"]`);
            return !shown.hidden && shown.innerText.includes(text);
        }""",
        arg=[banner, text],
    )


def comes(page: Any, selector: str, limit_s: float, state: str = "visible") -> bool:
    """Return True as soon as ``selector`` is there, False when that takes longer."""
    return in_time(page.wait_for_selector, selector, limit_s=limit_s, state=state)


def banners(page: Any) -> list[str]:
    """What the page has to say, for the message of a test that fails."""
    return list(page.locator(".banner:visible").all_inner_texts())


def clear_fault(page: Any, limit_s: float = 30.0) -> None:
    """Clear the fault that is shown and return when it is gone; again where the page was silent meanwhile."""
    deadline_s = time.monotonic() + limit_s
    while True:
        in_time(page.click, '[data-do="clear"]', limit_s=2.0)  # it may go away under the pointer
        if comes(page, '[data-show="fault"]', 2.0, state="hidden"):
            return
        assert time.monotonic() < deadline_s, f"the fault cannot be cleared: {banners(page)}"


def supply_on(page: Any, limit_s: float = 60.0) -> None:
    """Switch the supply on; again if a busy computer made the dead-man let go meanwhile."""
    deadline_s = time.monotonic() + limit_s
    while True:
        if page.inner_text('[data-out="fault.code"]') in PASSING:
            clear_fault(page)
        in_time(page.click, '[data-do="arm"]', limit_s=20.0)
        if comes(page, f'{ARMED}, [data-show="fault"]:visible', 5.0) and page.locator(ARMED).count():
            page.locator("h1").evaluate("() => document.activeElement?.blur()")
            return
        if time.monotonic() > deadline_s:
            give_up(f"the supply did not come on: {banners(page)}")


def jog_by_key(page: Any, witness: Witness, key: str = "ArrowRight", limit_s: float = 60.0) -> None:
    """Hold a key until the bridge drives; on a busy computer the dead-man may have let go before: again."""
    deadline_s = time.monotonic() + limit_s
    while True:
        page.keyboard.down(key)
        if comes_true(lambda: witness.driven, 2.0):
            return
        page.keyboard.up(key)
        if time.monotonic() > deadline_s:
            give_up(f"the part does not move: {banners(page)}")
        if page.get_attribute("body", "data-phase") not in ("armed", "jog"):
            supply_on(page)

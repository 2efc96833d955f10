"""Takes the pictures of docs/panel.md: ``python -m tests.panel.pictures docs/img``, from the root.

Its waits are times on purpose: what the curves show is so many seconds of movement.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path
from typing import Any

from playwright.sync_api import sync_playwright

from tests.helpers.witnessed_bench import Witness
from tests.panel.conftest import FLAGS, chromium, clear_fault, open_page, supply_on
from tests.panel.stage import PanelProcess, panel_on_witness

BUSY = "This computer is too busy for pictures: the dead-man stopped the part each time."
SIZES = {"1280": {"width": 1280, "height": 960}, "390": {"width": 390, "height": 844}}


def _by_hand(page: Any, folder: Path, size: str) -> None:
    for _ in range(8):
        page.wait_for_selector(".banner.message", state="hidden")
        supply_on(page)
        for key in ("ArrowRight", "ArrowLeft"):
            page.keyboard.down(key)
            page.wait_for_timeout(900)
            page.keyboard.up(key)
            page.wait_for_timeout(300)
        page.keyboard.down("ArrowRight")
        page.wait_for_timeout(500)
        before = page.get_attribute("body", "data-phase")
        page.screenshot(path=folder / f"panel-by-hand-{size}.png")
        page.keyboard.up("ArrowRight")
        page.keyboard.press("Escape")
        page.wait_for_timeout(1500)  # the part swings back to its rest
        if before == "jog":
            return
    raise SystemExit(BUSY)


def _fault(page: Any, witness: Witness, folder: Path, size: str) -> None:
    page.wait_for_selector(".banner.message", state="hidden")
    supply_on(page)
    witness.emergency(True)
    page.wait_for_selector('[data-show="fault"]:visible')
    page.wait_for_timeout(500)
    page.screenshot(path=folder / f"panel-fault-{size}.png")
    witness.emergency(False)
    clear_fault(page)


def _procedure(page: Any, folder: Path, size: str) -> None:
    """Run it to its end; again as long as a busy computer's silence stops it."""
    page.fill("#f-customer", "Kestrel Garage, order 1182")
    page.fill("#f-note", "idle hunts when warm")
    for _ in range(6):
        page.wait_for_selector(".banner.message", state="hidden")
        page.wait_for_selector('[data-do="run"]:enabled', timeout=20_000)
        page.evaluate("() => window.scrollTo(0, 0)")
        page.click('[data-do="run"]')
        page.wait_for_selector('body[data-phase="run"]', timeout=20_000)
        page.wait_for_timeout(9_000)
        page.screenshot(path=folder / f"panel-procedure-{size}.png")
        page.wait_for_selector(".findings .verdict", timeout=90_000)
        page.evaluate("() => document.querySelector('.findings').scrollIntoView()")
        page.wait_for_timeout(300)
        page.screenshot(path=folder / f"panel-findings-{size}.png")
        if "silent" not in page.inner_text('[data-out="message.text"]'):
            return
    raise SystemExit(BUSY)


def _wiring(page: Any, panel: PanelProcess, folder: Path, size: str) -> None:
    page.goto(f"{panel.url}/connect?part=throttle-body")
    page.wait_for_function("() => [...document.images].every((image) => image.complete)")
    page.screenshot(path=folder / f"panel-wiring-{size}.png")


def _book(page: Any, panel: PanelProcess, folder: Path, size: str) -> None:
    page.goto(f"{panel.url}/book")
    page.wait_for_selector("tbody tr")
    page.screenshot(path=folder / f"panel-book-{size}.png")
    page.goto(f"{panel.url}/compare?a=1&b=2")
    page.wait_for_selector(".overlay canvas")
    page.wait_for_timeout(800)
    page.screenshot(path=folder / f"panel-compare-{size}.png")


def main(folder: Path) -> None:
    """Take all of them; a computer that is too busy trips the dead-man and spoils some."""
    with (
        tempfile.TemporaryDirectory() as work,
        panel_on_witness(Path(work), "--part", "throttle-body") as both,
    ):
        witness, panel = both
        with sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=chromium(), args=FLAGS)
            for size, viewport in SIZES.items():
                context = browser.new_context(viewport=viewport)
                page = open_page(context, panel.url)
                _by_hand(page, folder, size)
                _fault(page, witness, folder, size)
                _procedure(page, folder, size)
                context.close()
            for size, viewport in SIZES.items():
                context = browser.new_context(viewport=viewport)
                _book(context.new_page(), panel, folder, size)
                _wiring(context.new_page(), panel, folder, size)
                context.close()
            browser.close()


if __name__ == "__main__":
    main(Path(sys.argv[1]))

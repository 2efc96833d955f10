"""Takes the pictures of docs/panel.md: ``python -m tests.panel.pictures docs/img``, from the root.

``python -m tests.panel.pictures FOLDER --all`` takes every step at four widths, light and dark.
Waits are times on purpose: what the curves show is so many seconds of movement.
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
SIZES = {320: 640, 390: 844, 1280: 960, 1920: 1080}
LOOKS = ("light", "dark")
DOCS = ((1280, "light"), (390, "light"))


class Camera:
    """Takes pictures of one size and look into a folder."""

    def __init__(self, browser: Any, folder: Path, width: int, look: str) -> None:
        self.context = browser.new_context(
            viewport={"width": width, "height": SIZES[width]}, color_scheme=look
        )
        self._end = f"{width}.png" if look == "light" else f"{width}-{look}.png"
        self._folder = folder

    def take(self, page: Any, name: str) -> None:
        page.screenshot(path=self._folder / f"panel-{name}-{self._end}")


def _by_hand(page: Any, camera: Camera) -> None:
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
        camera.take(page, "by-hand")
        page.keyboard.up("ArrowRight")
        page.keyboard.press("Escape")
        page.wait_for_timeout(1500)  # the part swings back to its rest
        if before == "jog":
            return
    raise SystemExit(BUSY)


def _fault(page: Any, witness: Witness, camera: Camera) -> None:
    page.wait_for_selector(".banner.message", state="hidden")
    supply_on(page)
    witness.emergency(True)
    page.wait_for_selector('[data-show="fault"]:visible')
    page.wait_for_timeout(500)
    camera.take(page, "fault")
    witness.emergency(False)
    clear_fault(page)


def _procedure(page: Any, camera: Camera) -> None:
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
        camera.take(page, "procedure")
        page.wait_for_selector(".findings .verdict", timeout=90_000)
        page.evaluate("() => document.querySelector('.findings').scrollIntoView()")
        page.wait_for_timeout(300)
        camera.take(page, "findings")
        if "silent" not in page.inner_text('[data-out="message.text"]'):
            return
    raise SystemExit(BUSY)


def _rest(page: Any, panel: PanelProcess, camera: Camera) -> None:
    """The wiring, and what is over: job book, a run with a stretch chosen, a comparison, a trend."""
    page.goto(f"{panel.url}/connect?part=throttle-body")
    page.wait_for_function("() => [...document.images].every((image) => image.complete)")
    camera.take(page, "wiring")
    page.goto(f"{panel.url}/book")
    page.wait_for_selector("tbody tr")
    camera.take(page, "book")
    page.goto(f"{panel.url}/run/1")
    page.wait_for_selector("[data-drawn]")
    page.evaluate("() => document.querySelector('.instrument').scrollIntoView()")
    page.select_option("#f-segment", index=14)
    page.wait_for_selector("[data-numbers] tbody tr")
    page.evaluate("() => document.querySelector('.instrument').scrollIntoView()")
    page.wait_for_timeout(800)
    camera.take(page, "run")
    for path, name in (
        ("/compare?a=1&b=2", "compare"),
        ("/trend?part=throttle-body&finding=travel", "trend"),
    ):
        page.goto(panel.url + path)
        page.wait_for_selector(".chart canvas")
        page.wait_for_timeout(800)
        camera.take(page, name)


def main(folder: Path, *, every: bool) -> None:
    """Take all of them; a computer that is too busy trips the dead-man and spoils some."""
    wanted = [(width, look) for width in SIZES for look in LOOKS] if every else list(DOCS)
    with (
        tempfile.TemporaryDirectory() as work,
        panel_on_witness(Path(work), "--part", "throttle-body") as (witness, panel),
        sync_playwright() as playwright,
    ):
        browser = playwright.chromium.launch(executable_path=chromium(), args=FLAGS)
        for width, look in wanted:
            camera = Camera(browser, folder, width, look)
            page = open_page(camera.context, panel.url)
            _by_hand(page, camera)
            _fault(page, witness, camera)
            _procedure(page, camera)
            camera.context.close()
        for width, look in wanted if every else [*wanted, (1920, "dark")]:
            camera = Camera(browser, folder, width, look)
            _rest(camera.context.new_page(), panel, camera)
            camera.context.close()
        browser.close()


if __name__ == "__main__":
    main(Path(sys.argv[1]), every="--all" in sys.argv[2:])

"""Takes the pictures of connecting in the panel: ``python -m tests.panel.wiring_pictures docs/img``."""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path
from typing import Any

from playwright.sync_api import sync_playwright

from tests.panel.conftest import FLAGS, chromium, open_page
from tests.panel.pictures import save
from tests.panel.stage import PanelProcess
from tests.panel.test_wiring import troubles
from tests.panel.test_wiring_browser import ASKED, checked, moved_gently, press

CROSSED = troubles("throttle-body", ("feed", "ground"))
TOUCHES = 4


def _opened(browser: Any, panel: PanelProcess, width: int, height: int) -> Any:
    context = browser.new_context(viewport={"width": width, "height": height}, color_scheme="light")
    page = open_page(context, panel.url)
    page.goto(f"{panel.url}/connect")
    return page


def _drawn(browser: Any, folder: Path, target: Path) -> None:
    panel = PanelProcess(folder, "--sim", "throttle-body")
    page = _opened(browser, panel, 1280, 960)
    checked(page)
    save(page.screenshot(), target / "panel-connect-ask-1280.png")
    moved_gently(page)
    save(page.screenshot(), target / "panel-connect-1280.png")
    page.close()
    panel.end()


def _crossed(browser: Any, folder: Path, target: Path) -> None:
    panel = PanelProcess(folder, "--sim", "throttle-body", *[f"--trouble={wire}" for wire in CROSSED])
    page = _opened(browser, panel, 390, 844)
    checked(page)
    page.locator('[data-wire="headline"]').scroll_into_view_if_needed()
    save(page.screenshot(), target / "panel-connect-wrong-390.png")
    page.close()
    panel.end()


def _finder(browser: Any, folder: Path, target: Path) -> None:
    panel = PanelProcess(folder, "--sim", "egr-motor")
    page = _opened(browser, panel, 390, 844)
    page.click("summary:has-text('unknown plug')")
    press(page, "find")
    for number in range(TOUCHES):
        page.wait_for_selector(ASKED)
        press(page, "touch")
        page.wait_for_function(
            "n => document.querySelectorAll('[data-wire=\"measured\"] li').length > n", arg=number
        )
    page.locator('[data-wire="headline"]').scroll_into_view_if_needed()
    save(page.screenshot(), target / "panel-connect-find-390.png")
    page.close()
    panel.end()


def main(target: Path) -> None:
    """Take all of them."""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium(), args=FLAGS)
        for take in (_drawn, _crossed, _finder):
            with tempfile.TemporaryDirectory() as folder:
                take(browser, Path(folder), target)
        browser.close()


if __name__ == "__main__":
    main(Path(sys.argv[1]))

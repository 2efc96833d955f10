"""Weighs the panel's first page: ``python -m tests.panel.weigh``, from the root, for a decision.

Start: from the command to the printed address. Page: requests and bytes that a fresh browser gets, and
the time from the navigation until the page shows the bench's state.
"""

from __future__ import annotations

import statistics
import tempfile
import time
from pathlib import Path
from typing import Any

from playwright.sync_api import sync_playwright

from tests.panel.conftest import FLAGS, chromium
from tests.panel.stage import PanelProcess

TIMES = 5


def _page(browser: Any, url: str) -> tuple[float, int, int]:
    """Return seconds until the state is shown, requests, bytes on the line."""
    context = browser.new_context(viewport={"width": 1280, "height": 900})
    page = context.new_page()
    session = context.new_cdp_session(page)
    session.send("Network.enable")
    sizes: list[int] = []
    session.on("Network.loadingFinished", lambda event: sizes.append(int(event["encodedDataLength"])))
    began_s = time.monotonic()
    page.goto(url)
    page.wait_for_selector("body[data-phase]", timeout=60_000)
    took_s = time.monotonic() - began_s
    page.wait_for_timeout(500)  # what comes late counts as well
    context.close()
    return took_s, len(sizes), sum(sizes)


def main() -> None:
    """Print the figures."""
    starts, pages = [], []
    with sync_playwright() as playwright, tempfile.TemporaryDirectory() as folder:
        browser = playwright.chromium.launch(executable_path=chromium(), args=FLAGS)
        for _ in range(TIMES):
            began_s = time.monotonic()
            panel = PanelProcess(Path(folder), "--part", "throttle-body")
            starts.append(time.monotonic() - began_s)
            pages.append(_page(browser, panel.url))
            panel.end()
        browser.close()
    shown = statistics.median(page[0] for page in pages)
    print(f"start {statistics.median(starts):.2f} s, page shown after {shown:.2f} s, medians of {TIMES}")
    print(f"requests {pages[-1][1]}, {pages[-1][2] / 1e6:.2f} MB")


if __name__ == "__main__":
    main()

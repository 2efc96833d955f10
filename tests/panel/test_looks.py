"""Fit for 1280 and 390 pixels, and for everybody: axe-core finds nothing against WCAG 2.1 A and AA."""

from __future__ import annotations

from typing import Any

import pytest
from strokebench.book.book import Book

from tests.helpers.witnessed_bench import Witness
from tests.panel.conftest import clear_fault, open_page, supply_on
from tests.panel.stage import PanelProcess

pytestmark = pytest.mark.slow

Stage = tuple[Witness, PanelProcess]
FITS = "(width) => document.scrollingElement.scrollWidth <= width && innerWidth === width"
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "best-practice"]


def _complaints(page: Any) -> list[str]:
    """What axe-core has against the page, one line per element."""
    axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
    result = axe.run(page, options={"runOnly": {"type": "tag", "values": RULES}})
    return [
        f"{rule['id']}: {rule['help']}: {node['html'][:120]}"
        for rule in result.response["violations"]
        for node in rule["nodes"]
    ]


def _put_two_runs(panel: PanelProcess) -> None:
    with Book(panel.book) as book:
        for verdict in ("pass", "fail"):
            with book.new_run("throttle-body", "throttle", customer="A shop") as writer:
                writer.finish("done")
            book.judged(writer.run_id, [], verdict)


@pytest.mark.parametrize("width", [1280, 390])
def test_bench_page(page: Any, stage: Stage, width: int) -> None:
    page.set_viewport_size({"width": width, "height": 844})
    try:
        page.wait_for_function(FITS, arg=width)
        for place in (0, 100_000):
            page.evaluate("(y) => window.scrollTo(0, y)", place)
            box = page.locator('[data-do="stop"]').bounding_box()
            assert box["x"] >= 0 and box["x"] + box["width"] <= width and box["y"] + box["height"] <= 844
            assert box["height"] >= 44 and box["width"] >= 120
        assert _complaints(page) == []
        supply_on(page)
        assert _complaints(page) == []
        stage[0].emergency(True)
        page.wait_for_selector('[data-show="fault"]:visible')
        assert _complaints(page) == []
    finally:
        stage[0].emergency(False)
        page.set_viewport_size({"width": 1280, "height": 900})
    clear_fault(page)


@pytest.mark.parametrize("width", [1280, 390])
def test_book_comparison_and_door(page: Any, browser: Any, stage: Stage, width: int) -> None:
    _put_two_runs(stage[1])
    context = browser.new_context(viewport={"width": width, "height": 844})
    other = context.new_page()
    for path in ("/book", "/compare?a=1&b=1"):
        other.goto(stage[1].url + path)
        other.wait_for_selector("h1")
        other.wait_for_function(FITS, arg=width)
        assert _complaints(other) == []
    context.close()


def test_axe_does_complain_when_there_is_reason(browser: Any) -> None:
    """The check itself can fail."""
    page = browser.new_page()
    page.set_content(
        "<html><body><button></button><p style='color:#bbb;background:#fff'>pale</p></body></html>"
    )
    found = " ".join(_complaints(page))
    assert "color-contrast" in found and "button-name" in found
    page.close()


def test_verdicts_are_told_without_colour() -> None:
    pages = pytest.importorskip("strokebench.panel.pages.findings")
    assert len({pages.SIGNS[word] for word in ("pass", "fail", "inconclusive", "info")}) == 4


def test_page_opens_without_complaints(context: Any, stage: Stage) -> None:
    page = open_page(context, stage[1].url)
    assert page.complaints == []
    page.close()

"""Fit for 320 to 1920 pixels, in every look, and for everybody: axe-core finds nothing (WCAG 2.1 AA)."""

from __future__ import annotations

from typing import Any

import pytest

from tests.helpers.witnessed_bench import Witness
from tests.panel.axe import COLOURS, FITS, complaints
from tests.panel.conftest import clear_fault, open_page, supply_on
from tests.panel.stage import PanelProcess
from tests.panel.test_instrument_browser import put_run

pytestmark = pytest.mark.slow

Stage = tuple[Witness, PanelProcess]


def test_bench_page_at_both_ends_and_in_each_state(page: Any, stage: Stage) -> None:
    try:
        for width in (1280, 320):
            page.set_viewport_size({"width": width, "height": 844})
            page.wait_for_function(FITS, arg=width)
            for place in (0, 100_000):
                page.evaluate("(y) => window.scrollTo(0, y)", place)
                box = page.locator('[data-do="stop"]').bounding_box()
                assert box["x"] >= 0 and box["x"] + box["width"] <= width and box["y"] + box["height"] <= 844
                assert box["height"] >= 44 and box["width"] >= 120
        assert complaints(page) == []
        supply_on(page)
        assert complaints(page) == []
        stage[0].emergency(True)
        page.wait_for_selector('[data-show="fault"]:visible')
        assert complaints(page) == []
    finally:
        stage[0].emergency(False)
        page.set_viewport_size({"width": 1280, "height": 900})
    clear_fault(page)


@pytest.fixture(scope="module")
def runs(stage: Stage) -> tuple[int, int]:
    """Two runs with curves and findings."""
    return put_run(stage[1]), put_run(stage[1])


def _in_look(browser: Any, url: str, look: str, **more: Any) -> Any:
    page = browser.new_context(**more).new_page()
    page.goto(url)
    page.select_option("#f-look", look)
    page.reload()
    page.wait_for_function("(look) => document.documentElement.dataset.look === look", arg=look)
    page.wait_for_selector("body[data-phase]")
    return page


def test_dark_is_kept_and_legible(browser: Any, stage: Stage, runs: tuple[int, int]) -> None:
    page = _in_look(browser, stage[1].url, "dark")
    for path in ("/", f"/run/{runs[0]}"):
        page.goto(stage[1].url + path)
        page.wait_for_selector("h1")
        assert page.evaluate("() => getComputedStyle(document.body).backgroundColor") == "rgb(18, 24, 29)"
        assert complaints(page, COLOURS) == [], path
    page.context.close()


def test_a_system_that_is_dark_gets_it_without_asking(browser: Any, stage: Stage) -> None:
    context = browser.new_context(color_scheme="dark")
    page = context.new_page()
    page.goto(f"{stage[1].url}/book")
    assert page.get_attribute("html", "data-look") == "dark"
    context.close()


def test_a_projector_gets_large_type_and_all_of_its_width(browser: Any, stage: Stage) -> None:
    page = _in_look(browser, stage[1].url, "projector", viewport={"width": 1920, "height": 1080})
    edges = page.evaluate(
        """() => {
            const boxes = [...document.querySelectorAll('.card')].map((c) => c.getBoundingClientRect());
            return [Math.min(...boxes.map((b) => b.left)), Math.max(...boxes.map((b) => b.right))]; }"""
    )
    assert edges[0] < 60 and edges[1] > 1860
    sizes = page.evaluate(
        """() => ['.reading .number', '.says', 'label']
            .map((s) => parseFloat(getComputedStyle(document.querySelector(s)).fontSize))"""
    )
    assert sizes[0] >= 48 and min(sizes) >= 18
    assert page.evaluate(FITS, 1920) and complaints(page, COLOURS) == []
    page.context.close()


SMALL = """() => [...document.querySelectorAll('a, button, input, select, textarea, summary')]
    .filter((e) => e.checkVisibility() && !e.classList.contains('skip') && !e.disabled)
    .map((e) => [e.outerHTML.slice(0, 90), e.getBoundingClientRect()])
    .filter(([, box]) => box.height < 47.5 || box.width < 47.5)
    .map(([html, box]) => `${html} ${box.width} x ${box.height}`)"""


@pytest.mark.parametrize("path", ["/", "/run"])
def test_gloves_find_every_target(browser: Any, stage: Stage, runs: tuple[int, int], path: str) -> None:
    page = _in_look(browser, stage[1].url, "glove", viewport={"width": 1280, "height": 900})
    page.goto(stage[1].url + (f"/run/{runs[0]}" if path == "/run" else path))
    page.wait_for_selector("h1", state="attached")
    assert page.evaluate(SMALL) == []
    page.context.close()


def test_forced_colours_keep_what_is_told(browser: Any, stage: Stage, runs: tuple[int, int]) -> None:
    context = browser.new_context(forced_colors="active")
    page = context.new_page()
    page.goto(f"{stage[1].url}/run/{runs[0]}")
    page.wait_for_selector("[data-drawn]")
    assert page.evaluate("() => matchMedia('(forced-colors: active)').matches")
    edge = page.evaluate("() => getComputedStyle(document.querySelector('.stop')).borderTopWidth")
    assert edge == "4px" and "fail" in page.inner_text(".verdict").lower()
    assert complaints(page, COLOURS) == []
    context.close()


def test_the_state_is_a_live_region(page: Any) -> None:
    assert page.get_attribute('[data-out="says"]', "role") == "status"
    assert page.inner_text('[data-out="says"]') == "Supply off"


def test_axe_does_complain_when_there_is_reason(browser: Any) -> None:
    """The check itself can fail."""
    page = browser.new_page()
    page.set_content(
        "<html><body><button></button><p style='color:#bbb;background:#fff'>pale</p></body></html>"
    )
    found = " ".join(complaints(page))
    assert "color-contrast" in found and "button-name" in found
    page.close()


def test_verdicts_are_told_without_colour() -> None:
    pages = pytest.importorskip("strokebench.panel.pages.findings")
    assert len({pages.SIGNS[word] for word in ("pass", "fail", "inconclusive", "info")}) == 4


def test_page_opens_withoutcomplaints(context: Any, stage: Stage) -> None:
    page = open_page(context, stage[1].url)
    assert page.complaints == []
    page.close()

"""From the page to the report: a procedure with progress and findings, the job book, a comparison."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

import pytest
from strokebench.book.book import Book

from tests.panel.conftest import clear_fault, comes, open_page, unless_busy
from tests.panel.stage import PanelProcess

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def bench(driver_of_browsers: Any, tmp_path_factory: pytest.TempPathFactory) -> Iterator[PanelProcess]:
    """A panel with its own simulated bench and a procedure of a few seconds."""
    from tests.helpers.process import short_profile

    folder = tmp_path_factory.mktemp("procedure")
    panel = PanelProcess(folder, "--sim", str(short_profile(folder, 2.0)), "--inject", "binding:severe")
    yield panel
    panel.end()


def _run(page: Any, customer: str) -> int:
    """Run the procedure and return the run's number; again if a busy computer tripped the dead-man."""
    for _ in range(3):
        page.wait_for_selector('[data-do="run"]:enabled', timeout=20_000)
        page.fill("#f-customer", customer)
        page.fill("#f-note", "from the page")
        page.click('[data-do="run"]')
        page.wait_for_selector('body[data-phase="run"]', timeout=20_000)
        page.wait_for_selector("#progress:visible")
        page.wait_for_selector('body[data-phase="idle"]', timeout=40_000)
        if page.is_visible('[data-show="fault"]'):  # it fell silent towards its bench, too
            clear_fault(page)
        elif "silent" not in page.inner_text(".banner.message"):
            break
    link = page.wait_for_selector('.findings a[href^="/report/"]')
    return int(link.get_attribute("href").rsplit("/", 1)[1])


@unless_busy
def test_procedure_to_report_book_and_comparison(bench: PanelProcess, browser: Any) -> None:
    context = browser.new_context(viewport={"width": 1280, "height": 900})
    page = open_page(context, bench.url)
    assert page.is_checked('[value="binding:severe"]'), "what the command line injected is not shown"
    first = _run(page, "Kestrel Garage")
    with Book(bench.book, read_only=True) as book:
        data, stored = book.load(first), book.findings(first)
    assert data.info["customer"] == "Kestrel Garage" and data.info["outcome"] == "done"
    assert data.samples["time_s"][-1] > 2.0 and data.info["lost_rows"] == 0
    shown = page.locator(".findings tbody tr").count()
    assert shown == len(stored) > 5
    assert data.info["verdict"] in page.inner_text(".findings .verdict").lower()

    page.click('.findings a[href^="/report/"]')
    report = context.wait_for_event("page") if len(context.pages) < 2 else context.pages[-1]
    report.wait_for_load_state()
    text = report.inner_text("body")
    assert "Kestrel Garage" in text and data.info["verdict"] in text.lower()
    report.close()

    second = _run(page, "Second customer")
    page.goto(f"{bench.url}/book?find=kestrel")
    page.wait_for_selector("tbody tr")
    assert page.locator("tbody tr").count() >= 1 and "Second customer" not in page.inner_text("tbody")
    page.goto(f"{bench.url}/book")
    page.check(f'input[name="a"][value="{first}"]')
    page.check(f'input[name="b"][value="{second}"]')
    page.click('button[type="submit"]:has-text("Compare")')
    page.wait_for_selector("[data-strips] canvas")
    assert re.search(rf"Run {first} \(A\) and run {second} \(B\)", page.inner_text("h1"))
    assert page.locator("tbody tr").count() == len(stored)
    context.close()


@unless_busy
def test_findings_appear_while_it_runs_and_stop_keeps_what_was_recorded(
    bench: PanelProcess, browser: Any
) -> None:
    context = browser.new_context()
    page = open_page(context, bench.url)
    page.select_option("#f-part", "throttle-body")
    page.click('[data-do="open"]')
    page.wait_for_function(
        "() => document.querySelector('[data-out=title]').textContent.includes('Throttle')"
    )
    for _ in range(4):
        if page.is_visible('[data-show="fault"]'):  # refused: the part still swung when the self-test looked
            clear_fault(page)
        page.wait_for_selector('[data-do="run"]:enabled', timeout=20_000)
        page.click('[data-do="run"]')
        running = comes(page, 'body[data-phase="run"]', 20.0)
        if running and comes(page, ".findings tbody tr", 15.0):
            break
    assert "So far" in page.inner_text(".findings")
    assert page.get_attribute("body", "data-phase") == "run"
    page.keyboard.press("Escape")
    page.wait_for_selector(".findings .verdict", timeout=20_000)
    with Book(bench.book, read_only=True) as book:
        data = book.load(book.last_run())
    assert data.info["outcome"] == "stopped" and len(data.samples) > 1000
    assert data.info["verdict"] == "inconclusive"
    context.close()


def test_a_report_that_is_not_there_says_so(bench: PanelProcess, browser: Any) -> None:
    context = browser.new_context()
    page = context.new_page()
    answer = page.goto(f"{bench.url}/report/999")
    assert answer.status == 404 and "no run 999" in page.inner_text("body")
    page.goto(f"{bench.url}/compare?a=999&b=998")
    page.wait_for_selector("text=no run 999")
    context.close()

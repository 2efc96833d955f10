"""Measures the panel in a real browser and writes docs/performance-panel.md.

``python -m tests.panel.measure [docs/performance-panel.md]``, from the repository's root, needs Chromium.
"""

from __future__ import annotations

import contextlib
import json
import os
import platform
import statistics
import sys
import tempfile
import time
import urllib.request
from pathlib import Path
from typing import Any

import psutil
from playwright.sync_api import sync_playwright

from tests.helpers.witnessed_bench import Witness
from tests.panel.chaos import PRESSES, SCENARIOS, row
from tests.panel.conftest import (
    FLAGS,
    chromium,
    jog_by_key,
    open_page,
    own_browser_through_proxy,
    supply_on,
    take_controls,
)
from tests.panel.stage import PanelProcess, panel_on_witness, processes_of

SECONDS = 15.0
STOPS = 20
SILENCES = 5
CHAOS_PRESSES = PRESSES

PAGE = """# How fast the panel is

Written by `python -m tests.panel.measure docs/performance-panel.md`: the simulated bench in a process of
its own behind a pseudo terminal (1000 rows a second), `strokebench panel` in another, and a real headless
Chromium {chromium}. Eight channels are drawn from lowest and highest value of each 50 ms.

Machine: {machine}. Load average while measuring: {load}.

| what goes on | pages | server, share of one core | updates a second and page | updates left out |
| --- | --- | --- | --- | --- |
{rows}

The server's share includes recording to the job book and diagnosing meanwhile, where there is a run.
An update is left out for a page that has four unanswered ones; its points come with the next.

STOP, from the key's own time stamp in the browser to the simulated bridge off, {count} times while the part
moved by hand: median {median:.0f} ms, longest {longest:.0f} ms, required at most 100 ms.
All of them, in ms: {all}.

The dead-man: what becomes of the page while the part moves by hand, {silences} times each, from the deed to
the simulated bridge off. Required at most 500 ms.

| what happens | median | longest |
| --- | --- | --- |
{silent}

STOP while things go wrong: the part moves by hand, the thing happens, STOP is pressed. Either the bridge is
off within 100 ms, or the page says within 500 ms that nobody has confirmed it. A press with neither is a
broken promise. Where the program is gone, the bench switches off by itself.

| what goes wrong | presses | bridge off, median | longest | NOT CONFIRMED, latest | broken promises |
| --- | --- | --- | --- | --- | --- |
{chaos}

`python -m tests.panel.chaos` measures this table alone.
{busy}"""

BUSY = """
Many more jobs than cores were running on this machine meanwhile (see the load): the longest times are waiting
for a core, and not what an otherwise idle machine shows. Measure again on yours.
"""


def _load(panel: PanelProcess) -> dict[str, int]:
    with urllib.request.urlopen(f"{panel.url}/load") as answer:
        return dict(json.load(answer))


def _share(panel: PanelProcess, seconds: float = SECONDS) -> str:
    """Return one row: CPU share, updates a second and page, updates left out."""
    process = psutil.Process(panel.process.pid)
    before, began_s = _load(panel), time.monotonic()
    cpu_before_s = sum(process.cpu_times()[:2])
    time.sleep(seconds)  # the stretch that is measured
    after, cpu_s = _load(panel), sum(process.cpu_times()[:2]) - cpu_before_s
    took_s = time.monotonic() - began_s
    rate = (after["sent"] - before["sent"]) / took_s / after["pages"]
    dropped = after["dropped"] - before["dropped"]
    whole = after["sent"] - before["sent"] + dropped
    return f"{after['pages']} | {100 * cpu_s / took_s:.0f} % | {rate:.1f} | {dropped} of {whole}"


def _running(page: Any) -> None:
    page.wait_for_selector('[data-do="run"]:enabled')
    page.click('[data-do="run"]')
    page.wait_for_selector('body[data-phase="run"]', timeout=20_000)


def _run_row(page: Any, panel: PanelProcess) -> str:
    """One row while a procedure runs; says so when the dead-man ended it on the way."""
    share = _share(panel)
    whole = page.get_attribute("body", "data-phase") == "run"
    return f"| procedure runs{'' if whole else ', ended by the dead-man on the way'} | {share} |"


def _stops(page: Any, witness: Witness) -> list[float]:
    took_ms = []
    for _ in range(STOPS):
        supply_on(page)
        jog_by_key(page, witness)
        page.wait_for_selector('body[data-phase="jog"]')
        page.keyboard.press("Space")
        off_s = witness.off_after(0.0)
        took_ms.append(1000 * off_s - page.evaluate("() => window.pressed_ms"))
        page.keyboard.up("ArrowRight")
        page.wait_for_selector('body[data-phase="idle"]')
    return took_ms


def _close(page: Any, _proxy: Any, _profile: Path) -> float:
    began_s = time.time()
    page.close()
    return began_s


def _hang(page: Any, _proxy: Any, _profile: Path) -> float:
    script = """() => {
        setTimeout(() => { const end = Date.now() + 1500; while (Date.now() < end); }, 0);
        return Date.now();
    }"""
    return float(page.evaluate(script)) / 1000


def _cut(_page: Any, proxy: Any, _profile: Path) -> float:
    return float(proxy.cut())


def _suspend(_page: Any, _proxy: Any, profile: Path) -> float:
    began_s = time.time()
    for process in processes_of(profile):
        with contextlib.suppress(psutil.NoSuchProcess):
            process.suspend()
    return began_s


DEEDS = {
    "the page is closed": _close,
    "its main thread hangs": _hang,
    "the network is cut": _cut,
    "all processes of the browser are stopped": _suspend,
}


def _silences(playwright: Any, both: tuple[Witness, PanelProcess], folder: Path) -> list[str]:
    """Return one row for each deed."""
    rows = []
    for number, (words, deed) in enumerate(DEEDS.items()):
        took_ms = []
        for turn in range(SILENCES):
            profile = folder / f"profile-{number}-{turn}"
            context, proxy = own_browser_through_proxy(playwright, both[1], profile)
            page = open_page(context, both[1].url)
            take_controls(page)
            supply_on(page)
            jog_by_key(page, both[0])
            began_s = deed(page, proxy, profile)
            took_ms.append(1000 * both[0].off_after(began_s))
            for process in processes_of(profile):
                with contextlib.suppress(psutil.NoSuchProcess):  # a closed page's ends by itself
                    process.resume()
            proxy.is_cut.clear()
            context.close()
            proxy.close()
        rows.append(f"| {words} | {statistics.median(took_ms):.0f} ms | {max(took_ms):.0f} ms |")
    return rows


def measure(folder: Path) -> str:
    """Return the page."""
    rows = []
    with (
        sync_playwright() as playwright,
        panel_on_witness(folder, "--part", "throttle-body") as (witness, panel),
    ):
        browser = playwright.chromium.launch(executable_path=chromium(), args=FLAGS)
        context = browser.new_context(viewport={"width": 1280, "height": 900})
        page = open_page(context, panel.url)
        page.wait_for_timeout(3000)  # what opening a page costs is not counted
        rows.append(f"| supply off, watching | {_share(panel)} |")
        _running(page)
        rows.append(_run_row(page, panel))
        others = [open_page_watching(context, panel.url) for _ in range(2)]
        rows.append(_run_row(page, panel))
        page.keyboard.press("Escape")
        for other in others:
            other.close()
        page.wait_for_selector('body[data-phase="idle"]', timeout=20_000)
        took_ms = _stops(page, witness)
        version = browser.version
        browser.close()
        silent = _silences(playwright, (witness, panel), folder)
        chaos_rows = [
            row(words, deed(playwright, Path(tempfile.mkdtemp(dir=folder)), CHAOS_PRESSES))
            for words, deed in SCENARIOS.values()
        ]
    load = ", ".join(f"{value:.1f}" for value in os.getloadavg())
    crowded = os.getloadavg()[0] > 2 * (os.cpu_count() or 1)
    return PAGE.format(
        busy=BUSY if crowded else "", silences=SILENCES, silent="\n".join(silent),
        chaos="\n".join(chaos_rows),
        chromium=version, machine=f"{os.cpu_count()} cores, {platform.system()} {platform.machine()}, Python "
        f"{platform.python_version()}", load=load, rows="\n".join(rows), count=len(took_ms),
        median=statistics.median(took_ms), longest=max(took_ms), all=", ".join(f"{t:.0f}" for t in took_ms),
    )  # fmt: skip


def open_page_watching(context: Any, url: str) -> Any:
    """Open one more page, in whatever phase the bench is."""
    page = context.new_page()
    page.goto(url)
    page.wait_for_selector("body[data-phase]", timeout=30_000)
    return page


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as folder:
        text = measure(Path(folder))
    if len(sys.argv) > 1:
        Path(sys.argv[1]).write_text(text, encoding="utf-8")
    print(text)

"""Measures the panel in a real browser and writes docs/performance-panel.md.

``python -m tests.panel.measure docs/performance-panel.md``, from the repository's root, needs Chromium. It
takes half an hour. ``--kept FOLDER`` keeps what was measured there, so that it can be begun again, and a part
of it can be measured anew: delete its file, or name it behind ``--only``. ``--about TEXT`` says on the page
how the machine was loaded; it is kept as well.
"""

from __future__ import annotations

import argparse
import contextlib
import json
import os
import platform
import statistics
import tempfile
import textwrap
import time
import urllib.request
from collections.abc import Callable
from pathlib import Path
from typing import Any

import psutil
from playwright.sync_api import sync_playwright

from tests.helpers.witnessed_bench import Witness
from tests.panel import chaos
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
ABOUT = "about.txt"
Found = dict[str, Any]

PAGE = """# How fast the panel is

This page shows how much of a processor the panel takes, and how often a reading does not reach the
page. It also shows how long it takes from the STOP key, or from a page that falls silent, until the
bridge is off. All of it was measured on a simulated bench.

Written by `python -m tests.panel.measure docs/performance-panel.md`: the simulated bench in a process of
its own behind a pseudo terminal (1000 rows a second), `strokebench panel` in another, and a real headless
Chromium {chromium}. Eight channels are drawn from lowest and highest value of each 50 ms.

Machine: {machine}. *Load* is the load average when the row was finished: above {cores}, jobs of
others, or of the trouble itself, waited for a core.{about}

| what goes on | pages | server, share of one core | updates a second and page | updates left out | load |
| --- | --- | --- | --- | --- | --- |
{rows}

The server's share includes recording to the job book and diagnosing meanwhile, where there is a run.
An update is left out for a page that has four unanswered ones; its points come with the next.

STOP, from the key's own time stamp in the browser to the simulated bridge off, {count} times while the part
moved by hand: median {median:.0f} ms, longest {longest:.0f} ms, required at most 100 ms.
All of them, in ms: {all}. Load {stop_load:.1f}.

The dead-man: what becomes of the page while the part moves by hand, {silences} times each, from the deed to
the simulated bridge off. Required at most 500 ms.

| what happens | median | longest | load |
| --- | --- | --- | --- |
{silent}

STOP while things go wrong: the part moves by hand, the thing happens, STOP is pressed. Either the bridge is
off within 100 ms, or the page says within 500 ms that nobody has confirmed it. A press with neither is a
broken promise. Where the program is gone, the bench switches off by itself.

| what goes wrong | presses | bridge off, median | longest | NOT CONFIRMED, latest | broken promises | load |
| --- | --- | --- | --- | --- | --- | --- |
{chaos}

`python -m tests.panel.chaos` measures this table alone.
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
    share = f"{after['pages']} | {100 * cpu_s / took_s:.0f} % | {rate:.1f} | {dropped} of {whole}"
    return f"{share} | {os.getloadavg()[0]:.1f}"


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


def _silence(playwright: Any, both: tuple[Witness, PanelProcess], folder: Path, words: str) -> Found:
    """Return how long a deed took to the bridge off, each time in a browser of its own."""
    took_ms = []
    for turn in range(SILENCES):
        profile = folder / f"profile-{words}-{turn}"
        context, proxy = own_browser_through_proxy(playwright, both[1], profile)
        page = open_page(context, both[1].url)
        take_controls(page)
        supply_on(page)
        jog_by_key(page, both[0])
        began_s = DEEDS[words](page, proxy, profile)
        took_ms.append(1000 * both[0].off_after(began_s))
        for process in processes_of(profile):
            with contextlib.suppress(psutil.NoSuchProcess):  # a closed page's ends by itself
                process.resume()
        proxy.is_cut.clear()
        context.close()
        proxy.close()
    return {"took_ms": took_ms, "load": os.getloadavg()[0]}


def _usual(playwright: Any, both: tuple[Witness, PanelProcess]) -> Found:
    """Return the rows of the first table, and the STOPs when nothing goes wrong."""
    witness, panel = both
    rows = []
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
    return {"rows": rows, "stops_ms": took_ms, "chromium": version, "load": os.getloadavg()[0]}


def parts(presses: int = chaos.PRESSES) -> dict[str, Callable[[Any], Found]]:
    """Return what is measured, by name; each part needs Playwright and nothing that another left."""

    def alone(deed: Callable[..., Found], *more: Any) -> Callable[[Any], Found]:
        def measured(playwright: Any) -> Found:
            with (
                tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as folder,
                panel_on_witness(Path(folder), "--part", "throttle-body") as both,
            ):
                return deed(playwright, both, *(Path(folder), *more) if more else ())

        return measured

    found = {"usual": alone(_usual)}
    found |= {f"silence-{i}": alone(_silence, words) for i, words in enumerate(DEEDS)}
    for name in chaos.TROUBLES:
        found[f"chaos-{name}"] = lambda playwright, name=name: chaos.measured(playwright, name, presses)
    return found


def measure(kept: Path, only: list[str], presses: int) -> None:
    """Measure what is not yet in the folder ``kept``, and whatever is named."""
    with sync_playwright() as playwright:
        for name, part in parts(presses).items():
            path = kept / f"{name}.json"
            if name in only or (not only and not path.exists()):
                path.write_text(json.dumps(part(playwright)), encoding="utf-8")
                print(f"{name}: measured", flush=True)


def page_of(kept: Path) -> str:
    """Return the page of what was measured."""
    found = {name: json.loads((kept / f"{name}.json").read_text(encoding="utf-8")) for name in parts()}
    usual = found["usual"]
    about = (kept / ABOUT).read_text(encoding="utf-8") if (kept / ABOUT).exists() else ""
    silent = [
        f"| {words} | {statistics.median(took['took_ms']):.0f} ms | {max(took['took_ms']):.0f} ms"
        f" | {took['load']:.1f} |"
        for words, took in ((words, found[f"silence-{i}"]) for i, words in enumerate(DEEDS))
    ]
    troubles = [
        chaos.row(words, [chaos.Press(**press) for press in took["presses"]], took["load"])
        for words, took in ((words, found[f"chaos-{name}"]) for name, (words, _) in chaos.TROUBLES.items())
    ]
    return PAGE.format(
        chromium=usual["chromium"], cores=os.cpu_count(), machine=f"{os.cpu_count()} cores, "
        f"{platform.system()} {platform.machine()}, Python {platform.python_version()}",
        about=f"\n\n{textwrap.fill(about, 110)}" if about else "", rows="\n".join(usual["rows"]),
        count=len(usual["stops_ms"]),
        median=statistics.median(usual["stops_ms"]), longest=max(usual["stops_ms"]), stop_load=usual["load"],
        all=", ".join(f"{took_ms:.0f}" for took_ms in usual["stops_ms"]), silences=SILENCES,
        silent="\n".join(silent), chaos="\n".join(troubles),
    )  # fmt: skip


def open_page_watching(context: Any, url: str) -> Any:
    """Open one more page, in whatever phase the bench is."""
    page = context.new_page()
    page.goto(url)
    page.wait_for_selector("body[data-phase]", timeout=30_000)
    return page


def main() -> None:
    """Measure and write the page."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("page", nargs="?", type=Path)
    parser.add_argument("--kept", type=Path)
    parser.add_argument("--about", help="how the machine was loaded, in a sentence or two")
    parser.add_argument("--only", nargs="+", default=[])
    parser.add_argument("--presses", type=int, default=chaos.PRESSES, help="of STOP, in each trouble")
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        kept = args.kept or Path(folder)
        kept.mkdir(exist_ok=True)
        if args.about:
            (kept / ABOUT).write_text(args.about, encoding="utf-8")
        measure(kept, args.only, args.presses)
        if args.page:
            args.page.write_text(page_of(kept), encoding="utf-8")


if __name__ == "__main__":
    main()

"""What can go wrong around a STOP, and how long it takes then: for ``test_chaos.py``, and by hand.

``python -m tests.panel.chaos [PRESSES] [TROUBLE ...]``, from the root, prints a table. Needs Chromium.
"""

from __future__ import annotations

import contextlib
import itertools
import json
import multiprocessing
import os
import signal
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import psutil

from tests.helpers.process import environment
from tests.helpers.witnessed_bench import Witness
from tests.panel.conftest import (
    FLAGS,
    chromium,
    give_up,
    jog_by_key,
    open_page,
    own_browser_through_proxy,
    reach_bench,
    supply_on,
    take_controls,
)
from tests.panel.long_run import long_run
from tests.panel.stage import PanelProcess, panel_on_witness

OFF_MS = 100
TOLD_MS = 500
PRESSES = 50
CROWD = 200
TEN_MINUTES = 600_000
BENCH_NICE = -15
NOTE_WORDS = """() => {
    window.told_ms = window.off_ms = null;
    window.noting?.disconnect();
    const bar = document.querySelector('[data-stop-state]');
    window.noting = new MutationObserver(() => {
        const after = performance.timeOrigin + performance.now() - window.pressed_ms;
        if (bar.textContent.includes('NOT CONFIRMED')) window.told_ms ??= after;
        if (bar.textContent.includes('Confirmed:')) window.off_ms ??= after;
    });
    window.noting.observe(bar, { childList: true, characterData: true, subtree: true });
}"""


@dataclass(frozen=True)
class Press:
    """One STOP: ms from the key to the bridge off, and to the words NOT CONFIRMED or Confirmed."""

    off_ms: float
    told_ms: float | None
    confirmed_ms: float | None

    @property
    def kept(self) -> bool:
        """The promise: off in time, or the page has said in time that nobody knows."""
        return 0 < self.off_ms <= OFF_MS or (self.told_ms is not None and self.told_ms <= TOLD_MS)


def nothing() -> None:
    """Do nothing."""


@dataclass(frozen=True)
class Deed:
    """What happens to a part that moves, before STOP is pressed, and how that is put right afterwards."""

    before: Callable[[], object] = nothing
    after: Callable[[], object] = nothing


@dataclass
class Scene:
    """A page on a panel on a witnessed bench. ``press`` begins with the part at rest and ends with it off."""

    playwright: Any
    page: Any
    witness: Witness
    panel: PanelProcess
    folder: Path

    def press(self, deed: Deed) -> Press:
        """Move the part by hand, let the deed happen, press STOP, put it right."""
        reach_bench(self.page)
        supply_on(self.page)
        jog_by_key(self.page, self.witness)
        self.page.evaluate(NOTE_WORDS)
        deed.before()
        self.page.keyboard.press("Escape")
        pressed_s = self.page.evaluate("() => window.pressed_ms") / 1000
        off_s = self.witness.off_after(0.0)
        self.page.wait_for_function("() => window.told_ms ?? window.off_ms", timeout=20_000)
        told_ms, confirmed_ms = self.page.evaluate("() => [window.told_ms, window.off_ms]")
        self.page.keyboard.up("ArrowRight")
        deed.after()
        return Press(1000 * (off_s - pressed_s), told_ms, confirmed_ms)


@contextmanager
def scene(playwright: Any, folder: Path) -> Iterator[Scene]:
    """A browser of its own that shows the bench's page."""
    browser = playwright.chromium.launch(executable_path=chromium(), args=FLAGS)
    try:
        with panel_on_witness(folder, "--part", "throttle-body") as (witness, panel):
            context = browser.new_context(viewport={"width": 1280, "height": 900})
            yield Scene(playwright, open_page(context, panel.url), witness, panel, folder)
    finally:
        browser.close()


@contextmanager
def plain(_here: Scene) -> Iterator[Deed]:
    """Nothing goes wrong."""
    yield Deed()


@contextmanager
def paused(here: Scene) -> Iterator[Deed]:
    """All of the program's threads stand still."""
    process = here.panel.process
    try:
        yield Deed(lambda: process.send_signal(signal.SIGSTOP), lambda: process.send_signal(signal.SIGCONT))
    finally:
        process.send_signal(signal.SIGCONT)


@contextmanager
def killed(here: Scene) -> Iterator[Deed]:
    """The program dies while the part moves; a new one comes, and the page with it, without a reload."""

    def again() -> None:
        here.panel.end()
        choice = ("--port", here.witness.port, "--part", "throttle-body", "--http-port", here.panel.number)
        here.panel = PanelProcess(here.folder, *choice)
        here.page.wait_for_selector("body:not(.stale)", timeout=60_000)

    first = here.panel
    try:
        yield Deed(lambda: here.panel.process.kill(), again)
    finally:
        if here.panel is not first:
            here.panel.end()


@contextmanager
def cut(here: Scene) -> Iterator[Deed]:
    """Nothing passes between page and program any more, and nobody is told."""
    near = here.page
    profile = Path(tempfile.mkdtemp(dir=here.folder))
    context, proxy = own_browser_through_proxy(here.playwright, here.panel, profile)
    here.page = open_page(context, here.panel.url)
    take_controls(here.page)
    try:
        yield Deed(proxy.cut, proxy.is_cut.clear)
    finally:
        here.page = near
        proxy.is_cut.clear()
        context.close()
        proxy.close()


@contextmanager
def slow(here: Scene) -> Iterator[Deed]:
    """The page's computer is four times slower, on a line of 20 ms each way."""
    session = here.page.context.new_cdp_session(here.page)

    def conditions(rate: int, latency_ms: int) -> None:
        session.send("Emulation.setCPUThrottlingRate", {"rate": rate})
        session.send(
            "Network.emulateNetworkConditions",
            {"offline": False, "latency": latency_ms, "downloadThroughput": -1, "uploadThroughput": -1},
        )

    conditions(4, 20)
    try:
        yield Deed()
    finally:
        conditions(1, 0)


def crowd(pages: int = CROWD) -> Callable[[Scene], AbstractContextManager[Deed]]:
    """So many pages watch."""

    @contextmanager
    def crowded(here: Scene) -> Iterator[Deed]:
        command = [sys.executable, "-m", "tests.helpers.watchers", str(here.panel.number), str(pages)]
        watching = subprocess.Popen(
            command, env=environment(), cwd=Path(__file__).parents[2], stdout=subprocess.PIPE, text=True
        )
        try:
            assert watching.stdout is not None
            if watching.stdout.readline().strip() != "all are here":
                give_up("some of the pages that only watch did not get in")
            yield Deed()
        finally:
            watching.kill()
            watching.communicate()

    return crowded


@contextmanager
def comparing(here: Scene) -> Iterator[Deed]:
    """Another window opens the comparison of two runs of ten minutes while the part moves."""
    first, second = (long_run(here.panel.book, TEN_MINUTES) for _ in range(2))
    pairs = itertools.cycle(((first, second), (second, first), (first, first), (second, second)))
    window = here.page.context.browser.new_context()
    other = window.new_page()

    def open_comparison() -> None:  # the panel keeps the last three: each time it is made anew
        address = "{}/compare?a={}&b={}".format(here.panel.url, *next(pairs))
        other.evaluate("(url) => { location.href = url; }", address)
        time.sleep(0.3)  # a time is what is looked at: the comparison is being made

    try:
        yield Deed(open_comparison, lambda: other.goto("about:blank"))
    finally:
        window.close()


@contextmanager
def busy(here: Scene) -> Iterator[Deed]:
    """Two loops on each core take all the time there is; of the panel, the browser and Playwright, that is.

    A bench has a processor of its own: the simulated one goes first, where the system lets it.
    """
    with contextlib.suppress(psutil.AccessDenied):
        psutil.Process(here.witness.process.pid).nice(BENCH_NICE)
    loops = [multiprocessing.Process(target=_spin, daemon=True) for _ in range(2 * (os.cpu_count() or 1))]
    for loop in loops:
        loop.start()
    try:
        yield Deed()
    finally:
        for loop in loops:
            loop.kill()


def _spin() -> None:
    while True:
        pass


TROUBLES: dict[str, tuple[str, Callable[[Scene], AbstractContextManager[Deed]]]] = {
    "plain": ("nothing", plain),
    "paused": ("the program is paused", paused),
    "killed": ("the program is killed, then started again", killed),
    "cut": ("the network is cut", cut),
    "slow": ("the page's computer is four times slower, its line has 20 ms each way", slow),
    "crowd": (f"{CROWD} pages watch", crowd()),
    "comparing": ("a comparison of two runs of ten minutes is opened", comparing),
    "busy": ("two loops on each core", busy),
}


def presses(here: Scene, name: str, count: int) -> list[Press]:
    """Return so many presses of STOP in this trouble."""
    with TROUBLES[name][1](here) as deed:
        return [here.press(deed) for _ in range(count)]


def row(words: str, pressed: list[Press], load: float) -> str:
    """Return a row of the table."""
    off = [press.off_ms for press in pressed]
    told = [press.told_ms for press in pressed if press.told_ms is not None]
    broken = sum(not press.kept for press in pressed)
    said = f"{max(told):.0f} ms ({len(told)} times)" if told else "never"
    median, longest = f"{statistics.median(off):.0f} ms", f"{max(off):.0f} ms"
    return f"| {words} | {len(pressed)} | {median} | {longest} | {said} | {broken} | {load:.1f} |"


def measured(playwright: Any, name: str, count: int) -> dict[str, Any]:
    """Return presses and load average of one trouble, with a bench, a panel and a browser of its own."""
    with (
        tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as folder,
        scene(playwright, Path(folder)) as here,
    ):
        pressed = presses(here, name, count)
    return {"presses": [asdict(press) for press in pressed], "load": os.getloadavg()[0]}


def main(count: int, names: list[str]) -> None:
    """Print the table, and each press that broke the promise."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        for name in names or list(TROUBLES):
            found = measured(playwright, name, count)
            pressed = [Press(**press) for press in found["presses"]]
            print(row(TROUBLES[name][0], pressed, found["load"]), flush=True)
            for press in pressed:
                if not press.kept:
                    print("  broken:", json.dumps(asdict(press)), flush=True)


if __name__ == "__main__":
    with contextlib.suppress(KeyboardInterrupt):
        main(int(sys.argv[1]) if len(sys.argv) > 1 else PRESSES, sys.argv[2:])

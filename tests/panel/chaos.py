"""What can go wrong around a STOP, and how long it takes then: for ``test_chaos.py``, and by hand.

``python -m tests.panel.chaos [PRESSES] [SCENARIO ...]``, from the root, prints a table. Needs Chromium.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import signal
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tests.helpers.process import environment
from tests.helpers.witnessed_bench import Witness
from tests.panel.conftest import (
    FLAGS,
    chromium,
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


@dataclass
class Scene:
    """A page on a panel on a witnessed bench. ``press`` begins with the part at rest and ends with it off."""

    page: Any
    witness: Witness
    panel: PanelProcess

    def press(self, before: Callable[[], object] = lambda: None) -> Press:
        """Move the part by hand, let ``before`` happen, press STOP."""
        reach_bench(self.page)
        supply_on(self.page)
        jog_by_key(self.page, self.witness)
        self.page.evaluate(NOTE_WORDS)
        before()
        self.page.keyboard.press("Escape")
        pressed_s = self.page.evaluate("() => window.pressed_ms") / 1000
        off_s = self.witness.off_after(0.0)
        self.page.wait_for_function("() => window.told_ms ?? window.off_ms", timeout=20_000)
        told_ms, confirmed_ms = self.page.evaluate("() => [window.told_ms, window.off_ms]")
        self.page.keyboard.up("ArrowRight")
        return Press(1000 * (off_s - pressed_s), told_ms, confirmed_ms)


@contextmanager
def scene(playwright: Any, folder: Path) -> Iterator[Scene]:
    """A browser of its own that shows the bench's page."""
    browser = playwright.chromium.launch(executable_path=chromium(), args=FLAGS)
    try:
        with panel_on_witness(folder, "--part", "throttle-body") as (witness, panel):
            context = browser.new_context(viewport={"width": 1280, "height": 900})
            yield Scene(open_page(context, panel.url), witness, panel)
    finally:
        browser.close()


def plain(playwright: Any, folder: Path, presses: int) -> list[Press]:
    """Nothing goes wrong."""
    with scene(playwright, folder) as here:
        return [here.press() for _ in range(presses)]


def server_paused(playwright: Any, folder: Path, presses: int) -> list[Press]:
    """All of the program's threads stand still."""
    found = []
    with scene(playwright, folder) as here:
        process = here.panel.process
        for _ in range(presses):
            found.append(_resumed(here, lambda: process.send_signal(signal.SIGSTOP), process))
    return found


def _resumed(here: Scene, before: Callable[[], object], process: subprocess.Popen[str]) -> Press:
    timer = threading.Timer(1.5, process.send_signal, (signal.SIGCONT,))

    def both() -> None:
        before()
        timer.start()

    try:
        return here.press(both)
    finally:
        timer.join()


def server_killed_and_restarted(playwright: Any, folder: Path, presses: int) -> list[Press]:
    """The program dies while the part moves; a new one comes, and the page with it, without a reload."""
    found = []
    browser = playwright.chromium.launch(executable_path=chromium(), args=FLAGS)
    witness = Witness(folder)
    panel = PanelProcess(folder, "--port", witness.port, "--part", "throttle-body")
    try:
        page = open_page(browser.new_context(), panel.url)
        for _ in range(presses):
            found.append(Scene(page, witness, panel).press(panel.process.kill))
            panel.end()
            again = ("--port", witness.port, "--part", "throttle-body", "--http-port", panel.number)
            panel = PanelProcess(folder, *again)
            page.wait_for_selector("body:not(.stale)", timeout=60_000)
    finally:
        panel.end()
        witness.close()
        browser.close()
    return found


def network_cut(playwright: Any, folder: Path, presses: int) -> list[Press]:
    """Nothing passes any more, and nobody is told; each time in a browser of its own."""
    found = []
    with panel_on_witness(folder, "--part", "throttle-body") as (witness, panel):
        for turn in range(presses):
            context, proxy = own_browser_through_proxy(playwright, panel, folder / f"profile-{turn}")
            page = open_page(context, panel.url)
            take_controls(page)
            found.append(Scene(page, witness, panel).press(proxy.cut))
            context.close()
            proxy.close()
    return found


def slow_client(playwright: Any, folder: Path, presses: int) -> list[Press]:
    """A page on a computer that is four times slower, on a line of 20 ms each way."""
    with scene(playwright, folder) as here:
        session = here.page.context.new_cdp_session(here.page)
        session.send("Emulation.setCPUThrottlingRate", {"rate": 4})
        session.send(
            "Network.emulateNetworkConditions",
            {"offline": False, "latency": 20, "downloadThroughput": -1, "uploadThroughput": -1},
        )
        return [here.press() for _ in range(presses)]


def crowd(playwright: Any, folder: Path, presses: int, pages: int = CROWD) -> list[Press]:
    """So many pages watch."""
    with scene(playwright, folder) as here:
        command = [sys.executable, "-m", "tests.helpers.watchers", str(here.panel.number), str(pages)]
        watching = subprocess.Popen(
            command, env=environment(), cwd=Path(__file__).parents[2], stdout=subprocess.PIPE, text=True
        )
        try:
            assert watching.stdout is not None and watching.stdout.readline().strip() == "all are here"
            return [here.press() for _ in range(presses)]
        finally:
            watching.kill()
            watching.communicate()


def comparing(playwright: Any, folder: Path, presses: int) -> list[Press]:
    """Another page opens the comparison of a run of ten minutes while the part moves."""
    with scene(playwright, folder) as here:
        numbers = [long_run(here.panel.book, TEN_MINUTES) for _ in range(2)]
        other = here.page.context.new_page()

        def open_comparison() -> None:
            address = f"{here.panel.url}/compare?a={numbers[0]}&b={numbers[1]}"
            other.evaluate("(url) => { location.href = url; }", address)
            time.sleep(0.3)  # a time is what is looked at: the comparison is being made

        found = []
        for _ in range(presses):
            other.goto("about:blank")
            found.append(here.press(open_comparison))
        return found


def busy(playwright: Any, folder: Path, presses: int) -> list[Press]:
    """Two loops on each core take all the time there is."""
    loops = [multiprocessing.Process(target=_spin, daemon=True) for _ in range(2 * (os.cpu_count() or 1))]
    with scene(playwright, folder) as here:
        for loop in loops:
            loop.start()
        try:
            return [here.press() for _ in range(presses)]
        finally:
            for loop in loops:
                loop.kill()


def _spin() -> None:
    while True:
        pass


SCENARIOS: dict[str, tuple[str, Callable[[Any, Path, int], list[Press]]]] = {
    "plain": ("nothing", plain),
    "paused": ("the program is paused", server_paused),
    "killed": ("the program is killed, then started again", server_killed_and_restarted),
    "cut": ("the network is cut", network_cut),
    "slow": ("the page's computer is four times slower, its line has 20 ms each way", slow_client),
    "crowd": (f"{CROWD} pages watch", crowd),
    "comparing": ("a comparison of two runs of ten minutes is opened", comparing),
    "busy": ("two loops on each core", busy),
}


def row(words: str, presses: list[Press]) -> str:
    """Return a row of the table."""
    off = [press.off_ms for press in presses]
    told = [press.told_ms for press in presses if press.told_ms is not None]
    broken = sum(not press.kept for press in presses)
    said = f"{max(told):.0f} ms ({len(told)} times)" if told else "never"
    median, longest = f"{statistics.median(off):.0f} ms", f"{max(off):.0f} ms"
    return f"| {words} | {len(presses)} | {median} | {longest} | {said} | {broken} |"


def main(presses: int, names: list[str]) -> None:
    """Print the table."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        for name in names or list(SCENARIOS):
            words, deed = SCENARIOS[name]
            with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as folder:
                print(row(words, deed(playwright, Path(folder), presses)), flush=True)


if __name__ == "__main__":
    with contextlib.suppress(KeyboardInterrupt):
        main(int(sys.argv[1]) if len(sys.argv) > 1 else PRESSES, sys.argv[2:])

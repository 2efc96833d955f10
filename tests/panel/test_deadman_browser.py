"""The dead-man with real causes: whatever becomes of the driving page, the part is off within 0.5 s."""

from __future__ import annotations

import signal
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import psutil
import pytest

from tests.panel.conftest import FLAGS, chromium, jog_by_key, open_page, supply_on, too_busy
from tests.panel.stage import CutProxy, PanelProcess, Witness, wait_until

LIMIT_S = 0.5
Stage = tuple[Witness, PanelProcess]


def _in_time(witness: Witness, since_s: float) -> None:
    took_s = witness.off_after(since_s)
    print(f"bridge off after {1000 * took_s:.0f} ms")
    if took_s > LIMIT_S and too_busy():
        pytest.skip(too_busy())
    assert took_s <= LIMIT_S


@pytest.fixture
def moving(page: Any, stage: Stage) -> Any:
    """A page under whose hand the part moves."""
    page.spoiled = True
    supply_on(page)
    jog_by_key(page, stage[0])
    return page


def test_tab_closed(moving: Any, stage: Stage) -> None:
    began_s = time.time()
    moving.close()
    _in_time(stage[0], began_s)


def test_page_left_for_another(moving: Any, stage: Stage) -> None:
    began_s = time.time()
    moving.evaluate("() => { location.href = '/book'; }")
    _in_time(stage[0], began_s)


def test_main_thread_hangs(moving: Any, stage: Stage) -> None:
    began_s = moving.evaluate(
        """() => {
            setTimeout(() => { const end = Date.now() + 2500; while (Date.now() < end); }, 0);
            return Date.now();
        }"""
    )
    _in_time(stage[0], began_s / 1000)
    moving.wait_for_timeout(2600)
    moving.wait_for_selector(".banner.message:visible")
    assert "silent" in moving.inner_text(".banner.message")


def test_tab_frozen(moving: Any, stage: Stage) -> None:
    tools = moving.context.new_cdp_session(moving)
    began_s = time.time()
    tools.send("Page.setWebLifecycleState", {"state": "frozen"})
    _in_time(stage[0], began_s)


def test_page_hidden_behind_another(moving: Any, stage: Stage) -> None:
    """The browser's word for it is put in its mouth: without a screen it never hides a page by itself."""
    began_s = time.time()
    moving.evaluate(
        """() => {
            Object.defineProperty(document, 'visibilityState', { get: () => 'hidden' });
            document.dispatchEvent(new Event('visibilitychange'));
        }"""
    )
    _in_time(stage[0], began_s)


def test_silent_without_a_word_of_farewell(moving: Any, stage: Stage) -> None:
    """The page lives and its socket is open, but it echoes no more."""
    began_s = moving.evaluate(
        """() => {
            WebSocket.prototype.send = () => {};
            return Date.now();
        }"""
    )
    _in_time(stage[0], began_s / 1000)


@pytest.fixture
def own_browser(
    driver_of_browsers: Any, stage: Stage, tmp_path: Path
) -> Iterator[tuple[Any, CutProxy, Path]]:
    """A browser of its own that reaches the panel through a line that can be cut."""
    proxy = CutProxy(stage[1].number)
    rule = f"--host-resolver-rules=MAP 127.0.0.1:{stage[1].number} 127.0.0.1:{proxy.port}"
    profile = tmp_path / "profile"
    context = driver_of_browsers.chromium.launch_persistent_context(
        str(profile), executable_path=chromium(), args=[*FLAGS, rule]
    )
    yield context, proxy, profile
    proxy.is_cut.clear()
    context.close()
    proxy.close()


def test_network_cut(own_browser: tuple[Any, CutProxy, Path], stage: Stage) -> None:
    context, proxy, _ = own_browser
    page = open_page(context, stage[1].url)
    supply_on(page)
    jog_by_key(page, stage[0])
    _in_time(stage[0], proxy.cut())
    assert proxy.is_cut.is_set()


def test_browser_stopped_by_the_system(own_browser: tuple[Any, CutProxy, Path], stage: Stage) -> None:
    """As when a laptop goes to sleep: every process of the browser stands still."""
    context, _, profile = own_browser
    page = open_page(context, stage[1].url)
    supply_on(page)
    jog_by_key(page, stage[0])
    processes = _processes_of(profile)
    assert processes, "the browser's processes were not found"
    began_s = time.time()
    for process in processes:
        process.send_signal(signal.SIGSTOP)
    try:
        _in_time(stage[0], began_s)
    finally:
        for process in processes:
            process.send_signal(signal.SIGCONT)


def _processes_of(profile: Path) -> list[psutil.Process]:
    """The processes of the browser that was started on this profile folder, and their children."""
    found: dict[int, psutil.Process] = {}
    for process in psutil.Process().children(recursive=True):
        try:
            if f"--user-data-dir={profile}" in process.cmdline():
                found |= {one.pid: one for one in (process, *process.children(recursive=True))}
        except psutil.Error:
            continue
    return list(found.values())


def test_the_controls_come_back_after_silence(page: Any, stage: Stage) -> None:
    """One long silence while nothing moves costs nothing."""
    page.evaluate("() => { const end = Date.now() + 900; while (Date.now() < end); }")
    supply_on(page)
    jog_by_key(page, stage[0])
    page.keyboard.up("ArrowRight")
    wait_until(lambda: not stage[0].driven, "the part goes on moving")

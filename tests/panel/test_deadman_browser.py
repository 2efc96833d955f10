"""The dead-man with real causes: whatever becomes of the driving page, the part is off within 0.5 s."""

from __future__ import annotations

import contextlib
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import psutil
import pytest

from tests.helpers.waiting import wait_until
from tests.helpers.witnessed_bench import Witness
from tests.panel.conftest import (
    jog_by_key,
    open_page,
    own_browser_through_proxy,
    says,
    supply_on,
    take_controls,
    too_busy,
)
from tests.panel.stage import CutProxy, PanelProcess, processes_of

pytestmark = pytest.mark.slow

LIMIT_S = 0.5
Stage = tuple[Witness, PanelProcess]


def _in_time(witness: Witness, since_s: float) -> None:
    took_s = witness.off_after(since_s)
    print(f"bridge off after {1000 * took_s:.0f} ms")
    if not 0 < took_s <= LIMIT_S and too_busy():
        pytest.skip(too_busy())
    assert took_s > 0, "the part had stopped before its page was harmed"
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
            setTimeout(() => { const end = Date.now() + 1300; while (Date.now() < end); }, 0);
            return Date.now();
        }"""
    )
    _in_time(stage[0], began_s / 1000)
    says(moving, "silent")


@pytest.mark.parametrize("event", ["freeze", "pagehide", "beforeunload"])
def test_farewells(moving: Any, stage: Stage, event: str) -> None:
    """A page that is told it will stand still or go says so at once, before it falls silent."""
    began_s = time.time()
    moving.evaluate("(name) => (name === 'freeze' ? document : window).dispatchEvent(new Event(name))", event)
    _in_time(stage[0], began_s)
    says(moving, "hidden")


def test_page_hidden_behind_another(moving: Any, stage: Stage) -> None:
    """The browser's word for it is put in its mouth: without a screen it never hides a page by itself.

    Hidden is also what a page is before a browser freezes it; one that is seen is never frozen (Chromium's
    debugging command for it changes nothing then: the page's timers ran on).
    """
    began_s = time.time()
    moving.evaluate(
        """() => {
            Object.defineProperty(document, 'visibilityState', { get: () => 'hidden' });
            document.dispatchEvent(new Event('visibilitychange'));
        }"""
    )
    _in_time(stage[0], began_s)


def test_hidden_without_a_word_of_farewell(moving: Any, stage: Stage) -> None:
    """Not even the event comes: what a hidden page still answers does not count."""
    began_s = moving.evaluate(
        """() => {
            Object.defineProperty(document, 'visibilityState', { get: () => 'hidden' });
            return Date.now();
        }"""
    )
    _in_time(stage[0], began_s / 1000)


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
    profile = tmp_path / "profile"
    context, proxy = own_browser_through_proxy(driver_of_browsers, stage[1], profile)
    yield context, proxy, profile
    proxy.is_cut.clear()
    context.close()
    proxy.close()


@pytest.fixture
def far(own_browser: tuple[Any, CutProxy, Path], stage: Stage) -> Any:
    """A page of the browser of its own, under whose hand the part moves."""
    page = open_page(own_browser[0], stage[1].url)
    take_controls(page)
    supply_on(page)
    jog_by_key(page, stage[0])
    return page


def test_network_cut(far: Any, own_browser: tuple[Any, CutProxy, Path], stage: Stage) -> None:
    _in_time(stage[0], own_browser[1].cut())


@pytest.mark.parametrize("which", ["all of the browser", "the page's process"])
def test_stopped_by_the_system(
    far: Any, own_browser: tuple[Any, CutProxy, Path], stage: Stage, which: str
) -> None:
    """As when a laptop goes to sleep: nothing of the browser runs. Or only its pages stand still."""
    alone = which != "all of the browser"
    processes = [alive for alive in processes_of(own_browser[2]) if not alone or _shows_pages(alive)]
    assert processes, "the browser's processes were not found"
    began_s = time.time()
    for process in processes:
        with contextlib.suppress(psutil.NoSuchProcess):  # it had just ended
            process.suspend()
    try:
        _in_time(stage[0], began_s)
        statuses = {_status(process) for process in processes}
        assert psutil.STATUS_STOPPED in statuses
        assert statuses <= {
            psutil.STATUS_STOPPED,
            psutil.STATUS_ZOMBIE,
        }  # one that had just ended runs neither
    finally:
        for process in processes:
            with contextlib.suppress(psutil.NoSuchProcess):
                process.resume()


def _status(process: psutil.Process) -> str:
    try:
        return str(process.status())
    except (psutil.ZombieProcess, psutil.NoSuchProcess):
        return str(psutil.STATUS_ZOMBIE)


def _shows_pages(process: psutil.Process) -> bool:
    return "--type=renderer" in process.cmdline()


def test_the_controls_come_back_after_silence(page: Any, stage: Stage) -> None:
    """One long silence while nothing moves costs nothing."""
    page.evaluate("() => { const end = Date.now() + 900; while (Date.now() < end); }")
    supply_on(page)
    jog_by_key(page, stage[0])
    page.keyboard.up("ArrowRight")
    wait_until(lambda: not stage[0].driven, "the part goes on moving")

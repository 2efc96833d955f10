"""Queue of orders, strip of the charts, watched port, and what an update says."""

from __future__ import annotations

import json
import math
import random
import time
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from strokebench.data.run import Mark
from strokebench.data.samples import empty
from strokebench.panel.deadman import Deadman
from strokebench.panel.driver import Driver
from strokebench.panel.examiner import Examiner
from strokebench.panel.feed import PERIOD_S, Feed
from strokebench.panel.lifeline import PAGES_MAX, STOPS_KEPT, WATCHERS_AT_ONCE, Lifelines, Page
from strokebench.panel.orders import Order, Orders
from strokebench.panel.strip import BUCKET_ROWS, CHANNELS, READINGS, Strip
from strokebench.panel.view import View
from strokebench.panel.watched_port import StopNow, WatchedPort
from strokebench.parts import load_part


def test_stop_comes_first_and_drops_what_waits() -> None:
    orders = Orders()
    orders.put(Order("arm"))
    orders.put(Order("run"))
    orders.stop("first")
    orders.stop("second")
    assert orders.take(0.0) is None
    assert orders.stop_asked == "first"
    orders.put(Order("jog"))  # pressed before the stop was carried out: forgotten with it
    orders.stopped()
    assert orders.take(0.0) is None and orders.stop_asked == ""


def test_a_stop_is_confirmed_only_by_number() -> None:
    orders = Orders()
    first, second = orders.stop("first"), orders.stop("second")
    assert (first, second, orders.off) == (1, 2, 0)
    orders.stopped()
    assert orders.off == 0, "carried out is not yet confirmed"
    orders.confirmed(first)
    assert first <= orders.off < second


def test_a_newer_jog_replaces_one_that_waits() -> None:
    orders = Orders()
    for drive in (0.1, 0.2, 0.3):
        orders.put(Order("jog", {"drive": drive}))
    orders.put(Order("release"))
    assert orders.take(0.0) == Order("jog", {"drive": 0.3})
    assert orders.take(0.0) == Order("release")
    assert orders.take(0.0) is None


def _rows(count: int, start_s: float = 0.0, **columns: float) -> np.ndarray:
    rows = empty(count)
    rows["time_s"] = start_s + np.arange(count) * 1e-3
    for name, value in columns.items():
        rows[name] = value
    return rows


def test_strip_keeps_the_peaks_of_each_bucket() -> None:
    strip = Strip(lambda: 5.0)
    rows = _rows(2 * BUCKET_ROWS, current_a=1.0)
    rows["current_a"][7], rows["current_a"][60] = 9.0, -9.0
    strip.append(rows[:30])
    strip.append(rows[30:])
    first, second = strip.since(0)
    at = CHANNELS.index("current_a")
    assert (first.low[at], first.high[at]) == (1.0, 9.0)
    assert (second.low[at], second.high[at]) == (-9.0, 1.0)
    assert first.mean[at] == pytest.approx(np.mean(rows["current_a"][:50]), abs=1e-3)


def test_strip_hides_what_was_not_measured() -> None:
    strip = Strip(lambda: 0.0)
    strip.append(_rows(BUCKET_ROWS, current_a=2.0))
    bucket = strip.latest()
    assert bucket is not None and bucket.mean[READINGS.index("part_c")] is None


def test_strip_goes_on_where_a_run_begins_its_time_anew() -> None:
    clock = [0.0]
    strip = Strip(lambda: clock[0])
    clock[0] = 10.0
    strip.append(_rows(BUCKET_ROWS, 300.0))
    clock[0] = 10.05
    strip.append(_rows(BUCKET_ROWS, 0.0))
    times = [bucket.time_s for bucket in strip.since(0)]
    assert times == sorted(times) and times[-1] == pytest.approx(10.05)


def test_strip_gives_only_what_is_new() -> None:
    strip = Strip(lambda: 0.0)
    for _ in range(4):
        strip.append(_rows(BUCKET_ROWS))
    assert [bucket.number for bucket in strip.since(2)] == [3, 4]
    assert [bucket.number for bucket in strip.since(0, most=1)] == [4]
    assert strip.since(4) == []


class SlowPort:
    """Never says anything; its clock is the computer's."""

    def read(self, timeout_s: float) -> bytes:
        time.sleep(timeout_s)  # as a silent line does
        return b""

    def write(self, data: bytes) -> None:
        raise AssertionError("nothing is written here")

    def close(self) -> None:
        return

    def now(self) -> float:
        return time.monotonic()


def test_watched_port_lets_a_stop_out_of_a_long_wait() -> None:
    began_s = time.monotonic()

    def look() -> None:
        if time.monotonic() - began_s > 0.1:
            raise StopNow("enough")

    with pytest.raises(StopNow, match="enough"):
        WatchedPort(SlowPort(), look).read(5.0)
    assert time.monotonic() - began_s < 2.0


def test_watched_port_waits_as_long_as_asked() -> None:
    began_s = time.monotonic()
    assert WatchedPort(SlowPort(), lambda: None).read(0.1) == b""
    assert time.monotonic() - began_s >= 0.09


def test_an_update_is_valid_json_whatever_is_unknown(tmp_path: Path) -> None:
    driver = Driver(tmp_path / "x.book", Deadman())
    feed = Feed(driver)
    driver.view.set(phase="idle", junction_c=math.nan, fault=31)
    driver.strip.append(_rows(BUCKET_ROWS, current_a=2.5))
    _, points = feed.points(0)
    update = json.loads(f'{feed.next()},"mine":true,"points":{points}}}')
    assert update["junction_c"] is None and update["fault"]["code"] == 31
    assert update["now"]["current_a"] == 2.5 and update["now"]["position"] is None
    assert len(update["points"]) == 1 and len(update["points"][0][1]) == len(CHANNELS)


def test_lifelines_survive_whatever_is_sent(tmp_path: Path) -> None:
    """Ten thousand messages that no page sends: none raises, none but STOP does anything."""
    asked: list[str] = []
    driver = Driver(tmp_path / "x.book", Deadman())
    driver.order = lambda name, **_: asked.append(name)  # type: ignore[method-assign]
    lines = Lifelines(driver)
    driver.deadman.join("p")
    rng = random.Random(1)
    values = [None, True, -1, 1e308, "x" * 300, [], {}, [[]], "\ud800", float("nan"), 2**70, "jog", "stop"]
    names = [
        "do",
        "echo",
        "seen",
        "frame",
        "drive",
        "part",
        "port",
        "faults",
        "stop",
        "customer",
        "simulated",
    ]
    page = Page(None, "p")  # type: ignore[arg-type]
    for _ in range(10_000):
        chosen = {rng.choice(names): rng.choice(values) for _ in range(rng.randrange(5))}
        lines._hear(page, json.dumps(rng.choice([chosen, list(chosen), rng.choice(values)])))
    lines._hear(page, "[" * 5000)
    lines._hear(page, "{" + "x" * 100)
    assert set(asked) <= {"jog", "run"} and len(page.stops) <= STOPS_KEPT


def test_a_crowd_takes_turns_and_the_page_that_drives_gets_every_update(tmp_path: Path) -> None:
    """As many pages as there may be: the news of none gets so old that it is shown as old."""
    driver = Driver(tmp_path / "x.book", Deadman())
    lines = Lifelines(driver)
    for number in range(PAGES_MAX):
        name = f"p{number}"
        driver.deadman.join(name, watches=number != 100)
        lines.pages[name] = Page(None, name)  # type: ignore[arg-type]
    waited: dict[str, int] = dict.fromkeys(lines.pages, 0)
    longest = dict(waited)
    for _ in range(60):
        turn = [page.name for page in lines._turn()]
        assert turn.count("p100") == 1 and len(turn) == len(set(turn)) <= WATCHERS_AT_ONCE + 1
        for name in waited:
            waited[name] = 0 if name in turn else waited[name] + 1
            longest[name] = max(longest[name], waited[name])
    assert (max(longest.values()) + 1) * PERIOD_S < 0.3


def test_a_segment_is_looked_at_once_its_rows_are_there(monkeypatch: pytest.MonkeyPatch) -> None:
    """Before: on a busy computer a page said of a run that goes on that 100 % of its samples are missing."""
    looked: list[list[str]] = []
    monkeypatch.setattr(
        Examiner, "_so_far", lambda _self, data, _profile: looked.append([mark.label for mark in data.marks])
    )
    marks = [Mark("rest", 0.0, 0.8, 0, "pause"), Mark("sweep", 0.8, math.nan, 1, "ramp")]
    run: Any = SimpleNamespace(marks=marks, data=lambda rows: SimpleNamespace(samples=rows))
    rows = empty(900)
    rows["time_s"] = np.arange(900) * 1e-3
    examiner = Examiner(View())
    examiner.offer(run, [rows[:2]], load_part("throttle-body"))
    assert looked == []
    examiner.offer(run, [rows[:2], rows[2:]], load_part("throttle-body"))
    examiner.close()
    assert looked == [["rest"]]

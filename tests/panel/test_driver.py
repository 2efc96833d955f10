"""The thread that owns the bench, on a simulated bench in real time, without any page."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from pytest_mock import MockerFixture
from strokebench.bench.spec import SimSpec
from strokebench.book.book import Book
from strokebench.errors import Refused
from strokebench.panel.choice import Choice
from strokebench.panel.deadman import Deadman
from strokebench.panel.driver import Driver
from strokebench.panel.keeper import SILENT
from strokebench.panel.procedure_run import Papers
from strokebench.panel.realtime import LivePort
from strokefw import faults

from tests.helpers.process import short_profile
from tests.helpers.waiting import wait_until

pytestmark = pytest.mark.slow


class Hand:
    """A page's part: echoes until told to fall silent."""

    def __init__(self, deadman: Deadman) -> None:
        self._deadman = deadman
        self.alive = True
        self.frame_s = 0.0
        self._ended = threading.Event()
        deadman.join("hand")
        threading.Thread(target=self._echo, daemon=True).start()

    def _echo(self) -> None:
        number = 0
        while not self._ended.wait(0.03):
            number += 1
            self._deadman.sent(number)
            if self.alive:
                self._deadman.echoed("hand", number, self.frame_s)

    def end(self) -> None:
        self._ended.set()


@pytest.fixture
def held(tmp_path: Path) -> Iterator[tuple[Driver, Hand]]:
    deadman = Deadman()
    driver = Driver(tmp_path / "driver.book", deadman)
    hand = Hand(deadman)
    driver.start()
    driver.order("open", choice=Choice(str(short_profile(tmp_path, 0.5))))
    _until(driver, "idle")
    yield driver, hand
    hand.end()
    driver.close()


def _until(driver: Driver, phase: str, limit_s: float = 15.0) -> None:
    wait_until(lambda: driver.view.now.phase == phase, f"{driver.view.now} never becomes {phase}", limit_s)


def _drive(driver: Driver) -> float:
    bucket = driver.strip.latest()
    return 0.0 if bucket is None else float(bucket.mean[0] or 0.0)


def test_jog_within_the_parts_limits_then_release(held: tuple[Driver, Hand]) -> None:
    driver, _ = held
    driver.order("jog", drive=0.3)
    driver.order("arm")
    _until(driver, "armed")
    assert _drive(driver) == 0.0, "a jog before the supply was on is forgotten"
    driver.order("jog", drive=-2.0)
    wait_until(lambda: _drive(driver) < -0.7, "the part does not move")
    assert driver.profile is not None and _drive(driver) >= driver.profile.limits.drive_min
    driver.order("release")
    wait_until(lambda: _drive(driver) == 0.0, "the part goes on")
    assert driver.view.now.phase == "armed"
    driver.order("disarm")
    _until(driver, "idle")


def test_silence_stops_and_is_told(held: tuple[Driver, Hand]) -> None:
    driver, hand = held
    driver.order("arm")
    _until(driver, "armed")
    driver.order("jog", drive=0.3)
    wait_until(lambda: _drive(driver) > 0.25, "the part does not move")
    hand.alive = False
    _until(driver, "idle")
    assert driver.view.now.message.text == SILENT
    wait_until(lambda: _drive(driver) == 0.0, "the part goes on")


def test_nothing_is_armed_when_nobody_is_there(held: tuple[Driver, Hand]) -> None:
    driver, hand = held
    hand.alive = False
    wait_until(driver.deadman.silent, "nobody is there, and it goes unnoticed")
    driver.order("arm")
    wait_until(lambda: driver.view.now.message.text == SILENT, "arming was not refused")
    assert driver.view.now.phase == "idle"


def test_a_fault_younger_than_the_last_look_at_the_bench_is_cleared(
    tmp_path: Path, mocker: MockerFixture
) -> None:
    """The event comes at once, what the bench holds is asked for four times a second."""
    driver = Driver(tmp_path / "driver.book", Deadman())
    bench = driver.keeper.bench = mocker.Mock()
    bench.status.return_value = mocker.Mock(state="latched", fault=faults.ESTOP, budget_left={})
    driver.view.set(phase="idle", fault=faults.ESTOP, latched=False)
    driver._clear()
    bench.clear.assert_called_once_with()
    assert (driver.view.now.fault, driver.view.now.latched) == (0, False)


def test_stop_while_arming_ends_the_arming(held: tuple[Driver, Hand]) -> None:
    driver, _ = held
    driver.order("arm")
    _until(driver, "arming")
    driver.stop()
    _until(driver, "idle")
    time.sleep(1.0)  # a time is what is looked at: the self-test would be over and the supply on
    assert driver.view.now.state == "ready"


def test_stop_upon_stop_neither_ends_the_keeper_nor_the_letting_off(held: tuple[Driver, Hand]) -> None:
    driver, _ = held
    for _ in range(3):
        driver.order("arm")
        _until(driver, "armed")
        driver.order("jog", drive=0.3)
        wait_until(lambda: _drive(driver) > 0.25, "the part does not move")
        until_s = time.monotonic() + 0.4
        while time.monotonic() < until_s:
            driver.stop()
            time.sleep(0.001)  # as fast as a key can be hammered, and faster
        wait_until(lambda: not driver.orders.stop_asked, "the last STOP is not seen to")
        _until(driver, "idle")
        wait_until(lambda: driver.view.now.state == "ready", "the supply stays on, or nobody keeps the part")
    assert driver.view.now.message.text == "Stopped by hand."


def test_a_run_is_recorded_judged_and_left_off(held: tuple[Driver, Hand]) -> None:
    driver, _ = held
    driver.order("run", papers=Papers("a customer", "serial 1", "a note"))
    _until(driver, "run")
    wait_until(lambda: driver.view.now.judged_run > 0, "no verdict", 30.0)
    now = driver.view.now
    with Book(driver.book, read_only=True) as book:
        data, stored = book.load(now.judged_run), book.findings(now.judged_run)
    assert (data.info["customer"], data.info["part_serial"], data.info["note"]) == (
        "a customer",
        "serial 1",
        "a note",
    )
    assert data.info["outcome"] == "done" and data.info["verdict"] == now.verdict
    assert [finding.key for finding in stored] == [finding.key for finding in now.findings]
    wait_until(lambda: driver.view.now.state == "ready", "the supply stays on")


def test_stop_during_a_run_keeps_what_was_measured(held: tuple[Driver, Hand]) -> None:
    driver, _ = held
    driver.order("run", papers=Papers())
    wait_until(lambda: driver.view.now.progress.done_s > 0.2, "the run does not start")
    driver.stop("Stopped by hand.")
    wait_until(lambda: driver.view.now.judged_run > 0, "no verdict", 30.0)
    with Book(driver.book, read_only=True) as book:
        data = book.load(driver.view.now.judged_run)
    assert data.info["outcome"] == "stopped" and len(data.samples) > 100
    assert driver.view.now.message.text == "Stopped by hand."


def test_silence_during_a_run_ends_it(held: tuple[Driver, Hand], tmp_path: Path) -> None:
    driver, hand = held
    number = driver.view.now.message.number
    driver.order("open", choice=Choice(str(short_profile(tmp_path, 20.0))))
    wait_until(lambda: driver.view.now.message.number > number, "the other part is not opened")
    driver.order("run", papers=Papers())
    wait_until(lambda: driver.view.now.progress.done_s > 0.1, "the run does not start")
    hand.alive = False
    wait_until(lambda: driver.view.now.phase in ("idle", "judging"), "the run goes on", 15.0)
    assert driver.view.now.message.text == SILENT


def test_a_busy_page_that_is_silent_for_a_moment_loses_no_procedure_that_only_begins(
    held: tuple[Driver, Hand],
) -> None:
    """Before: while the supply came on it had 0.4 s, as for a jog, so that it never began a procedure."""
    driver, hand = held
    hand.frame_s = 0.45
    wait_until(lambda: driver.deadman.limit_s(procedure=True) > 1.3, "the page's frames are not known")
    driver.order("run", papers=Papers())
    _until(driver, "arming")
    hand.alive = False
    wait_until(driver.deadman.silent, "nobody is there, and it goes unnoticed")
    assert driver.view.now.phase in ("arming", "run")
    hand.alive = True
    _until(driver, "run")
    wait_until(lambda: driver.view.now.verdict != "", "the run was not judged")
    with Book(driver.book, read_only=True) as book:
        assert book.load(book.last_run()).info["outcome"] == "done"


def test_arming_by_hand_stays_strict_for_a_busy_page(held: tuple[Driver, Hand]) -> None:
    driver, hand = held
    hand.frame_s = 0.45
    wait_until(lambda: driver.deadman.limit_s(procedure=True) > 1.3, "the page's frames are not known")
    driver.order("arm")
    _until(driver, "arming")
    hand.alive = False
    _until(driver, "idle")
    assert driver.view.now.message.text == SILENT


def test_a_part_or_port_that_is_not_there_is_told_in_a_sentence(held: tuple[Driver, Hand]) -> None:
    driver, _ = held
    for choice in (Choice("no-such-part"), Choice("throttle-body", simulated=False, port="/dev/not-there")):
        number = driver.view.now.message.number
        driver.order("open", choice=choice)
        wait_until(lambda n=number: driver.view.now.message.number > n, "nothing was said")
        assert driver.view.now.message.error and driver.view.now.message.hint
        assert driver.view.now.phase == "none"


@pytest.mark.parametrize("order", ["arm", "run"])
def test_a_refusal_says_why_and_is_gone_with_the_next_thing_that_works(
    held: tuple[Driver, Hand], mocker: MockerFixture, order: str
) -> None:
    """Before: red through the next run, without a cause."""
    driver, _ = held
    assert driver.keeper.bench is not None
    refused = Refused(
        "The bench refused 'arm': the heatsink is hot (code 31, 0)", "Wait until it is cold.", 31
    )
    patched = mocker.patch.object(driver.keeper.bench, "arm", side_effect=refused)
    driver.order("arm")
    wait_until(lambda: driver.view.now.message.error, "the refusal is not told")
    said = driver.view.now.message
    assert "the heatsink is hot" in said.text and said.hint == "Wait until it is cold."
    mocker.stop(patched)
    driver.order(order, **({"papers": Papers()} if order == "run" else {}))
    _until(driver, "armed" if order == "arm" else "run")
    wait_until(lambda: not driver.view.now.message.error, "the refusal stays red")


def test_a_live_bench_keeps_time_and_ends() -> None:
    port = LivePort(SimSpec())
    began_s, heard = time.monotonic(), b""
    try:
        from strokebench.link.link import Link

        link = Link(port)
        link.hello()
        link.request("stream", 1)
        while time.monotonic() - began_s < 1.5:
            for message in link.poll(0.02):
                heard += message.tail
    finally:
        port.close()
    rows = len(heard) // 26
    assert 700 < rows < 1800, f"{rows} rows in 1.5 s at 1000 a second"
    from strokebench.errors import LinkLost

    with pytest.raises(LinkLost):
        port.write(b"\0")


def test_a_run_whose_bench_answers_a_stop_late_is_kept_and_judged(
    held: tuple[Driver, Hand], mocker: MockerFixture
) -> None:
    """Before: left ``cut``, without a verdict."""
    driver, _ = held
    mocker.patch("strokebench.panel.driver.STOP_TOOK_S", 0.0)
    mocker.patch("strokebench.bench.run.Run.stop")  # the bench never hears of it
    driver.order("run", papers=Papers())
    wait_until(lambda: driver.view.now.progress.done_s > 0.2, "the run does not start")
    number = driver.stop("Stopped by hand.")
    wait_until(lambda: driver.view.now.judged_run > 0, "no verdict", 30.0)
    with Book(driver.book, read_only=True) as book:
        data = book.load(driver.view.now.judged_run)
    assert data.info["outcome"] == "stopped" and len(data.samples) > 100
    assert data.info["verdict"] == "inconclusive" and driver.view.now.message.text == "Stopped by hand."
    wait_until(lambda: driver.orders.off >= number, "nobody confirmed that the part is off")
    _until(driver, "idle")


def test_a_stop_is_confirmed_when_the_bench_says_that_it_is_off(held: tuple[Driver, Hand]) -> None:
    driver, _ = held
    driver.order("arm")
    _until(driver, "armed")
    number = driver.stop()
    wait_until(lambda: driver.orders.off >= number, "not confirmed")
    assert driver.view.now.phase == "idle"


def test_a_stop_while_connecting_does_not_break_the_connecting_off(tmp_path: Path) -> None:
    """A page sends its STOP again after a restart: the panel then never connected, and said nothing."""
    driver = Driver(tmp_path / "driver.book", Deadman())
    driver.order("open", choice=Choice(str(short_profile(tmp_path, 0.5))))
    numbers = [driver.stop()]  # while the order still waits
    driver.start()
    wait_until(lambda: driver.view.now.phase == "connecting", "it does not begin to connect")
    numbers.append(driver.stop())
    _until(driver, "idle")
    wait_until(lambda: driver.orders.off >= max(numbers), "no STOP was confirmed")
    driver.close()


def test_a_stop_without_a_bench_is_never_confirmed(tmp_path: Path) -> None:
    driver = Driver(tmp_path / "driver.book", Deadman())
    driver.start()
    number = driver.stop()
    wait_until(lambda: not driver.orders.stop_asked, "the STOP is not seen to")
    assert driver.orders.off < number
    driver.close()

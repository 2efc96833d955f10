"""Who drives and when a page counts as silent, on a clock of the test's own."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest
from strokebench.panel.deadman import LIMIT_S, PROCEDURE_LIMIT_S, Deadman
from strokebench.panel.driver import Driver
from strokebench.panel.orders import Order


class Clock:
    now_s = 100.0

    def __call__(self) -> float:
        return self.now_s


def _pair() -> tuple[Deadman, Clock]:
    clock = Clock()
    return Deadman(clock), clock


def _heard_page(deadman: Deadman, folder: Path) -> tuple[Driver, Callable[[str], None]]:
    """A driver, and what hears its page "a", which was sent reading 1."""
    lifeline = pytest.importorskip("strokebench.panel.lifeline")
    driver = Driver(folder / "x.book", deadman)
    lines, page = lifeline.Lifelines(driver), lifeline.Page(None, "a")
    deadman.join("a")
    deadman.sent(1)
    return driver, lambda text: lines._hear(page, text)


def test_the_first_page_drives_and_the_second_watches() -> None:
    deadman, _ = _pair()
    deadman.join("a")
    deadman.join("b")
    assert deadman.drives("a") and not deadman.drives("b")


def test_a_page_that_never_echoed_is_silent() -> None:
    deadman, _ = _pair()
    assert deadman.silent()
    deadman.join("a")
    assert deadman.silent()


def test_an_echo_counts_from_when_its_number_was_sent() -> None:
    deadman, clock = _pair()
    deadman.join("a")
    deadman.sent(1)
    clock.now_s += 0.3
    deadman.echoed("a", 1)
    assert abs(deadman.silent_s() - 0.3) < 1e-9
    clock.now_s += LIMIT_S - 0.3 + 0.001
    assert deadman.silent()


def test_a_late_burst_of_old_echoes_does_not_revive_a_page() -> None:
    deadman, clock = _pair()
    deadman.join("a")
    for number in range(1, 5):
        deadman.sent(number)
        clock.now_s += 0.05
    clock.now_s += 1.0
    for number in range(1, 5):
        deadman.echoed("a", number)
    assert deadman.silent()


def test_numbers_never_sent_mean_nothing() -> None:
    deadman, _ = _pair()
    deadman.join("a")
    deadman.sent(1)
    deadman.echoed("a", 99)
    assert deadman.silent()


def test_the_echo_of_a_watching_page_does_not_keep_the_driving_one_alive() -> None:
    deadman, clock = _pair()
    deadman.join("a")
    deadman.join("b")
    deadman.sent(1)
    deadman.echoed("a", 1)
    clock.now_s += LIMIT_S + 0.1
    deadman.sent(2)
    deadman.echoed("b", 2)
    assert deadman.silent()


def test_taking_is_refused_while_another_page_moves_the_part() -> None:
    deadman, _ = _pair()
    deadman.join("a")
    deadman.join("b")
    assert not deadman.take("b", moving=True)
    assert deadman.drives("a")
    assert deadman.take("b", moving=False)
    assert deadman.drives("b")
    assert deadman.take("b", moving=True), "one's own controls can be taken again"


def test_a_page_that_never_came_cannot_take() -> None:
    deadman, _ = _pair()
    assert not deadman.take("ghost", moving=False)


def test_nobody_drives_after_the_driving_page_left_or_let_go() -> None:
    deadman, _ = _pair()
    deadman.join("a")
    assert deadman.leave("a") and not deadman.taken and deadman.silent()
    deadman.join("b")
    deadman.give("b")
    assert not deadman.taken
    deadman.join("c")
    assert deadman.drives("c")


@pytest.mark.parametrize("order", ["clear", "arm", "open", "jog"])
def test_what_a_silent_page_asks_for_is_not_done_and_that_is_told(order: str, tmp_path: Path) -> None:
    late = pytest.importorskip("strokebench.panel.lifeline").LATE
    deadman, clock = _pair()
    driver, hear = _heard_page(deadman, tmp_path)
    deadman.echoed("a", 1)
    clock.now_s += LIMIT_S + 0.1
    hear(json.dumps({"do": order}))
    assert driver.orders.take(0.0) is None
    said = driver.view.now.message
    assert said.error and said.text == late and said.hint
    deadman.sent(2)
    deadman.echoed("a", 2)
    hear(json.dumps({"do": "clear"}))
    assert driver.orders.take(0.0) == Order("clear")


@pytest.mark.parametrize(
    ("order", "done"), [("run", True), ("gently", True), ("jog", False), ("arm", False), ("open", False)]
)
def test_a_busy_page_may_begin_a_procedure_but_no_jog(order: str, done: bool, tmp_path: Path) -> None:
    """Its frames take 0.45 s. Before: it could not begin the procedure that it would not have lost."""
    deadman, clock = _pair()
    driver, hear = _heard_page(deadman, tmp_path)
    deadman.echoed("a", 1, 0.45)
    clock.now_s += 1.0
    wish = {"part": "throttle-body", "simulated": True, "drive": 0.1}
    hear(json.dumps({"do": order, **wish}))
    taken = driver.orders.take(0.0)
    assert (taken is not None and taken.name == order) == done
    clock.now_s += 0.4
    hear(json.dumps({"do": order, **wish}))
    assert driver.orders.take(0.0) is None, "three of its frames are over"


def test_a_watching_page_that_leaves_changes_nothing() -> None:
    deadman, _ = _pair()
    deadman.join("a")
    deadman.join("b")
    assert not deadman.leave("b")
    assert deadman.drives("a")


@pytest.mark.parametrize(
    ("frame_s", "limit_s"), [(0.0, LIMIT_S), (0.1, LIMIT_S), (0.3, 0.9), (5.0, PROCEDURE_LIMIT_S)]
)
def test_a_procedure_gives_a_busy_page_three_of_its_own_frames_but_a_hand_never(
    frame_s: float, limit_s: float
) -> None:
    deadman, clock = _pair()
    deadman.join("a")
    deadman.sent(1)
    deadman.echoed("a", 1, frame_s)
    assert deadman.limit_s(procedure=True) == pytest.approx(limit_s)
    clock.now_s += LIMIT_S + 0.001
    assert deadman.silent(), "moving by hand stays as strict as ever"
    assert deadman.silent(procedure=True) == (limit_s <= LIMIT_S)
    clock.now_s += limit_s
    assert deadman.silent(procedure=True)


def test_a_page_that_only_watches_never_drives() -> None:
    deadman, _ = _pair()
    deadman.join("book", watches=True)
    assert not deadman.taken
    deadman.join("bench")
    assert deadman.drives("bench")

"""The wiring in the panel: drawings, the check, the gentle move, the pin finder; without a browser."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from strokebench.connect import plug
from strokebench.parts import load_part, part_names
from strokebench.sim.board.wires import PINS, WIRE

from tests.helpers.waiting import wait_until
from tests.panel.conftest import too_busy

pages = pytest.importorskip("strokebench.panel.pages.connect")

from strokebench.panel.choice import Choice  # noqa: E402
from strokebench.panel.deadman import Deadman  # noqa: E402
from strokebench.panel.driver import SILENT, Driver  # noqa: E402
from strokebench.panel.wiring import NOTHING, Wiring  # noqa: E402
from strokebench.panel.wiring_desk import AT_REST  # noqa: E402


def test_each_part_has_a_drawing_and_nothing_else_is_served() -> None:
    for name in part_names():
        assert str(pages.picture(name)).startswith("<svg")
    for name in ("", "../secret", "/etc/passwd", "throttle-body.toml", "x" * 1000):
        assert pages.picture(name) is None


@pytest.fixture
def driver(tmp_path: Path) -> Iterator[Driver]:
    made = Driver(tmp_path / "a.book", Deadman())
    made.start()
    yield made
    made.close()


TRIES = 5


class Hand:
    """A page that lives: it answers each update while something is waited for."""

    def __init__(self, driver: Driver) -> None:
        self.driver = driver
        self._number = 0
        driver.deadman.join("a page")

    def wait(self, true: Callable[[], bool], what: str) -> None:
        """Return when it is true; the dead-man is held meanwhile."""

        def lives() -> bool:
            self._number += 1
            self.driver.deadman.sent(self._number)
            self.driver.deadman.echoed("a page", self._number)
            return true()

        wait_until(lives, what)

    def open(self, part: str, **more: Any) -> None:
        self.driver.order("open", choice=Choice(part, **more))
        self.wait(lambda: self.driver.view.now.phase == "idle", "no bench")

    def do(self, deed: str, **what: Any) -> Wiring:
        """Give an order of the wiring desk; return what the page then shows.

        It is given again where a busy computer let the dead-man end it.
        """
        view, before = self.driver.view, self.driver.view.now.wiring
        for _ in range(TRIES):
            number = view.now.message.number
            self.driver.order(deed, **what)
            self.wait(lambda: self._answered(before, number), f"{deed} says nothing")  # noqa: B023
            if view.now.wiring not in (before, NOTHING):
                return view.now.wiring
        if too_busy():
            pytest.skip(too_busy())
        raise AssertionError(f"{deed}: the page was silent {TRIES} times")

    def _answered(self, before: Wiring, number: int) -> bool:
        now = self.driver.view.now
        silent = now.message.number > number and now.message.text == SILENT
        return now.phase == "idle" and (silent or now.wiring not in (before, NOTHING))


def troubles(part: str, *pairs: tuple[str, str]) -> tuple[str, ...]:
    """Return what swaps these leads of a simulated bench."""
    drawn = {each.lead: each.pin for each in plug.drawn(load_part(part))}
    for first, second in pairs:
        drawn[first], drawn[second] = drawn[second], drawn[first]
    return tuple(f"{WIRE}{lead}={PINS.index(pin) + 1}" for lead, pin in drawn.items())


@pytest.mark.slow
def test_the_check_goes_on_to_a_gentle_move_and_says_connected_as_drawn(driver: Driver) -> None:
    hand = Hand(driver)
    hand.open("throttle-body")
    at_rest = hand.do("check")
    assert (at_rest.as_drawn, at_rest.question, at_rest.headline) == (None, "move", AT_REST)
    assert "hands clear" in at_rest.asks
    done = hand.do("gently")
    assert (done.as_drawn, done.question, done.headline) == (True, "", "Connected as drawn"), done
    assert driver.view.now.state in ("ready", "off") and not driver.view.now.message.error


WRONG = {
    "feed and ground": ("throttle-body", ("feed", "ground"), "Sensor feed 5 V and sensor ground are swapped"),
    "outputs": ("egr-motor", ("out_a", "out_b"), "Output A and output B are swapped"),
}


@pytest.mark.slow
@pytest.mark.parametrize("name", WRONG)
def test_a_wrong_wiring_is_named(driver: Driver, name: str) -> None:
    part, pair, sentence = WRONG[name]
    hand = Hand(driver)
    hand.open(part, troubles=troubles(part, pair))
    seen = hand.do("check")
    if seen.question == "move":
        seen = hand.do("gently")
    assert seen.as_drawn is False and sentence in " ".join(seen.sentences), seen


@pytest.mark.slow
def test_a_stop_ends_the_gentle_move_and_it_may_be_asked_for_again(driver: Driver) -> None:
    hand = Hand(driver)
    hand.open("throttle-body")
    hand.do("check")
    driver.order("gently")
    hand.wait(lambda: driver.view.now.phase == "gentle", "it does not begin")
    number = driver.stop()
    hand.wait(lambda: driver.orders.off >= number, "the bench does not say that it is off")
    hand.wait(lambda: driver.view.now.phase == "idle", "not idle")
    assert driver.view.now.wiring.question == "move" and driver.view.now.wiring.as_drawn is None
    assert hand.do("gently").as_drawn is True


@pytest.mark.slow
def test_a_page_that_falls_silent_ends_the_gentle_move(driver: Driver) -> None:
    hand = Hand(driver)
    hand.open("throttle-body")
    hand.do("check")
    driver.order("gently")
    hand.wait(lambda: driver.view.now.phase == "gentle", "it does not begin")
    wait_until(lambda: driver.view.now.phase == "idle", "it goes on without a page")
    assert driver.view.now.wiring.as_drawn is None
    assert driver.view.now.message.text == SILENT


@pytest.mark.slow
def test_the_polarity_of_a_pump_is_asked_for(driver: Driver) -> None:
    hand = Hand(driver)
    hand.open("fuel-pump")
    seen = hand.do("check")
    assert seen.question == "polarity" and "marked plus" in seen.asks
    assert hand.do("polarity", right=False).as_drawn is False
    hand.do("check")
    assert hand.do("polarity", right=True).as_drawn is True


@pytest.mark.slow
def test_from_an_unknown_plug_to_the_check(driver: Driver) -> None:
    hand = Hand(driver)
    hand.open("egr-motor", seed=51)
    now = hand.do("find", pins=0)
    touches = 0
    while now.question == "clips":
        assert now.asks.startswith(f"Red clip on pin {now.red}, black clip on ")
        now, touches = hand.do("touch"), touches + 1
    assert now.question == "connect" and len(now.measured) == touches > 5, now
    assert any(line.startswith("Winding: pins") for line in now.sentences)
    assert any("sensor feed" in line for line in now.sentences)
    seen = hand.do("connected")
    if seen.question == "move":
        seen = hand.do("gently")
    assert seen.as_drawn is True or "Output A and output B are swapped" in " ".join(seen.sentences), seen


@pytest.mark.slow
def test_an_open_winding_and_giving_up(driver: Driver) -> None:
    hand = Hand(driver)
    hand.open("solenoid", faults=("open_winding",))
    hand.do("find", pins=2)
    now = hand.do("touch")
    assert now.as_drawn is False and "winding is open" in now.sentences[0] and not now.question
    hand.do("find", pins=2)
    assert hand.do("give_up").headline == "Given up"
    driver.order("touch")  # nobody asks for it any more
    driver.order("polarity", right=True)
    assert hand.do("check").as_drawn is False


CASES = {(): "At rest everything reads as drawn.", ("open_winding",): "Not connected as drawn. No current"}


@pytest.mark.slow
@pytest.mark.parametrize("defects", CASES)
def test_the_check_says_what_the_bench_sees_and_leaves_it_at_rest(
    driver: Driver, defects: tuple[str, ...]
) -> None:
    hand = Hand(driver)
    hand.open("throttle-body", faults=defects)
    hand.do("check")
    message = driver.view.now.message
    assert message.text.startswith(CASES[defects]) and not message.error
    hand.wait(lambda: driver.view.now.state == "ready", "the bench is not at rest")

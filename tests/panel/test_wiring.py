"""The wiring in the panel: a drawing for each part, and the check that moves nothing."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from strokebench.panel.choice import Choice
from strokebench.panel.deadman import Deadman
from strokebench.panel.driver import Driver
from strokebench.parts import part_names

from tests.helpers.waiting import wait_until

pages = pytest.importorskip("strokebench.panel.pages.connect")


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


CASES = {(): "At rest everything reads as drawn.", ("open_winding",): "Not connected as drawn. No current"}


@pytest.mark.slow
@pytest.mark.parametrize("defects", CASES)
def test_the_check_says_what_the_bench_sees_and_leaves_it_at_rest(
    driver: Driver, defects: tuple[str, ...]
) -> None:
    hand = driver.deadman
    hand.join("a page")
    driver.order("open", choice=Choice("throttle-body", faults=defects))
    wait_until(lambda: driver.view.now.phase == "idle", "no bench")
    before = driver.view.now.message.number
    driver.order("check")

    def said() -> bool:
        hand.sent(driver.view.now.message.number + 1)
        hand.echoed("a page", driver.view.now.message.number + 1)
        return driver.view.now.message.number > before and driver.view.now.phase == "idle"

    wait_until(said, "it said nothing")
    message = driver.view.now.message
    assert message.text.startswith(CASES[defects]) and not message.error
    wait_until(lambda: driver.view.now.state == "ready", "the bench is not at rest")

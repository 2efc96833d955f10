"""What the keys mean, and that a hold runs out by itself."""

from __future__ import annotations

import pytest
from strokebench.terminal.jog_keys import HOLD_S, Hand, bar, meanings


@pytest.mark.parametrize(
    ("text", "meant"),
    [
        ("\x1b[C\x1b[D", ["open", "close"]),
        ("\x1bOA\x1bOB", ["more", "less"]),
        ("lLhkj", ["open", "open", "close", "more", "less"]),
        (" q", ["stop", "leave"]),
        ("\x1b", ["leave"]),
        ("\x03", ["leave"]),
        ("x\x1b[Z", ["stop", "stop"]),
    ],
)
def test_keys(text: str, meant: list[str]) -> None:
    assert list(meanings(text)) == meant


def test_a_press_moves_for_a_while_and_no_longer() -> None:
    hand = Hand(-1.0, 1.0, strength=0.3)
    hand.press("open", 10.0)
    assert hand.drive(10.0) == 0.3
    assert hand.drive(10.0 + HOLD_S - 0.01) == 0.3
    assert hand.drive(10.0 + HOLD_S) == 0.0
    assert hand.drive(10.1) == 0.0, "once run out it does not come back"


def test_a_repeat_goes_on_and_space_stops_at_once() -> None:
    hand = Hand(-1.0, 1.0, strength=0.3)
    hand.press("close", 0.0)
    hand.press("close", 0.6)
    assert hand.drive(1.2) == -0.3
    hand.press("stop", 1.2)
    assert hand.drive(1.2) == 0.0


def test_limits_and_strength() -> None:
    hand = Hand(0.0, 0.6, strength=0.55)
    for _ in range(9):
        hand.press("more", 0.0)
    hand.press("open", 0.0)
    assert hand.drive(0.1) == 0.6
    hand.press("close", 0.0)
    assert hand.drive(0.1) == 0.0, "this part has one direction only"
    for _ in range(99):
        hand.press("less", 0.0)
    assert hand.strength == 0.05
    hand.press("leave", 0.0)
    assert (hand.left, hand.drive(0.0)) == (True, 0.0)


def test_bar() -> None:
    assert bar(0.0, 11) == ".....|....."
    assert bar(0.4, 11) == ".....|##..."
    assert bar(-1.0, 11) == "#####|....."

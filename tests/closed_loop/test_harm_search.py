"""The search for harm finds what a forgetful protection allows, and nothing on the one that remembers.

Known lives are the search's own check: each was a hole of an earlier guard. The short search has a fixed seed;
docs/protection-search.md has the record of a long one.
"""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from strokefw import state
from strokefw.drive import ramp

pytest.importorskip("llvmlite", reason="the extra `fast` is not installed")
from tools.evidence.harm.lives import Life, perform
from tools.evidence.harm.search import BOUND, PARTS, Front, beyond, search
from tools.evidence.harm.stage import Stage

pytestmark = pytest.mark.extras

PAUSES: Life = (("procedure", 20, ((ramp.HOLD, 7500, 3500), (ramp.PAUSE, 0, 1))),)
NOISE: Life = (("noise", 60), ("jog", 7500, 30_000))
CLEARED: Life = (("jog", 7500, 30_000), ("limits", 1), ("clear",), ("limits", 0))
RESETS: Life = (("jog", 7500, 3500), ("reset",))
SHORT_TICKS = 1_500_000


class Forgetful(Stage):
    """A stage whose firmware forgets heat and held time whenever it is asked for anything."""

    def say(self, name: str, *values: int) -> None:
        """Send a request, and forget."""
        super().say(name, *values)
        guard = self.app.guard
        guard.stall_words[:] = self._fresh_stall
        guard.budgets.words[:] = self._fresh_budgets

    def first_limits(self, limits: dict[str, int]) -> None:
        """As the stage does; what the guards know then is what they go back to."""
        guard = self.app.guard
        self._fresh_stall, self._fresh_budgets = guard.stall_words[:], guard.budgets.words[:]
        self.wait_for(lambda now: now not in (state.OFF, state.CHECK))
        super().first_limits(limits)
        self._fresh_stall, self._fresh_budgets = guard.stall_words[:], guard.budgets.words[:]


@pytest.fixture(scope="module")
def front() -> Iterator[Front]:
    """A throttle body that is free to move."""
    yield Front(Stage(PARTS[0]))


@pytest.mark.parametrize(
    "life", [PAUSES, NOISE, CLEARED, RESETS], ids=["pauses", "noise", "cleared", "resets"]
)
def test_a_known_trick_does_no_more_harm_than_honest_use(front: Front, life: Life) -> None:
    before = front.stage.ticks
    front.live(life)
    assert front.stage.ticks - before >= 60_000
    (held,) = (each for each in front.worst["held"] if each.life == life)
    assert held.harm > 2.0, "it did hold the part"
    assert not beyond([front]), beyond([front])


@pytest.mark.parametrize("life", [PAUSES, RESETS], ids=["pauses", "resets"])
def test_the_same_trick_is_a_hole_where_the_guards_forget(life: Life) -> None:
    front = Front(Forgetful(PARTS[0]))
    front.honest[0] = dict.fromkeys(BOUND, 0.0) | {
        "held": 3.9,
        "winding": 30.0,
        "leads": 4.0,
        "junction": 0.2,
    }
    front.live(life)
    assert any("held" in each for each in beyond([front]))


def test_the_same_life_does_the_same_harm_again() -> None:
    stages = [Stage(PARTS[4]) for _ in range(2)]
    life = (("procedure", 2, ((ramp.RAMP, 9000, 400), (ramp.HOLD, -4000, 700))), ("reset",), ("wait", 33))
    found = [perform(stage, life, 5000) for stage in (*stages, stages[0])]
    assert found[0] == found[1] == found[2]
    assert found[0][0]["leads"] > 0


def test_a_short_search_finds_no_hole() -> None:
    for fronts in search(SHORT_TICKS, seed=20, parts=(PARTS[0], PARTS[7])):
        pass
    assert sum(front.ticks for front in fronts) >= SHORT_TICKS
    assert sum(front.lives for front in fronts) >= 20
    assert all(front.worst["winding"][0].harm > 1.0 for front in fronts), "it drove"
    assert not beyond(fronts), beyond(fronts)

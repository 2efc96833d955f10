"""A fixed set of the search's sequences, byte for byte the same under real MicroPython as in process.

In process every promise of test_protection_stateful is checked in each tick; the bytes and the bridge's
outputs being the same, MicroPython keeps them in these sequences too.
"""

from __future__ import annotations

from collections import Counter
from contextlib import closing

import pytest
from strokebench.errors import LinkError
from strokebench.sim.engine import micropython
from strokefw import state

from tests.closed_loop.test_protection_stateful import SPEC
from tests.helpers.replay import Life, board_for, perform, play

try:
    micropython.find_interpreter()
    HAS_MICROPYTHON = True
except LinkError:
    HAS_MICROPYTHON = False

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(not HAS_MICROPYTHON, reason="no MicroPython interpreter installed"),
]
ACTS = 14
SEEDS = tuple(range(1, 7))
MORE = tuple(range(100, 160))


def replay(life: Life) -> None:
    """Play a life under MicroPython and compare everything that left the chip."""
    board = board_for(life, SPEC)
    with closing(micropython.MicroPythonPort(SPEC, board)) as port:
        said, outputs = play(life, port, board)
    assert said == bytes(life.said)
    first = next(
        (n for n, pair in enumerate(zip(outputs, life.outputs, strict=True)) if pair[0] != pair[1]), None
    )
    assert first is None, (first, outputs[first or 0], life.outputs[first or 0])


@pytest.mark.parametrize("seed", SEEDS)
def test_same_bytes_and_outputs(seed: int) -> None:
    for life in perform(seed, ACTS):
        replay(life)


@pytest.mark.long
@pytest.mark.parametrize("seed", MORE)
def test_same_bytes_and_outputs_in_many_more(seed: int) -> None:
    for life in perform(seed, ACTS):
        replay(life)


def test_the_set_goes_where_it_matters() -> None:
    ticks: Counter[int] = Counter()
    lives = [life for seed in SEEDS for life in perform(seed, ACTS)]
    for life in lives:
        ticks.update(life.states)
    seldom = {state.NAMES[where]: ticks[where] for where in range(1, 7) if ticks[where] < 100}
    assert not seldom, (seldom, ticks)
    assert any(life.cause for life in lives), "with a life after a reset"
    assert sum(len(life.said) for life in lives) > 25_000  # arming waits for 10 mF to charge
    assert perform(SEEDS[0], ACTS)[0].said == lives[0].said, "fixed: the same again"

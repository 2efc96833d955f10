"""The search for harm: known tricks do no more than honest use, and the search sees one that still does.

The tricks were holes of an earlier guard, on which the same lives reach 2.3 (pauses) and 2.6 times (noise)
what a part may be held, and 1.4 (limits) and 2.9 times (resets) the winding's honest rise. To pull the plug
and put it back is what still buys heat, by design (docs/safety.md): it shows that the search can find
something. docs/protection-search.md has the record of a long one.
"""

from __future__ import annotations

from types import SimpleNamespace

import pytest
from strokefw.drive import ramp

pytest.importorskip("llvmlite", reason="the extra `fast` is not installed")
from tools.evidence.harm.lives import Life, perform
from tools.evidence.harm.page import record
from tools.evidence.harm.search import PARTS, Front, beyond, search
from tools.evidence.harm.stage import Stage
from tools.evidence.harm.witness import Witness

pytestmark = pytest.mark.extras

FREE, SMALL, STICKY, VALVE, STUCK, PUMP = 0, 1, 3, 4, 5, 9
"""Places in PARTS: a throttle body, one with a small heat budget, a stuck valve, a free one, a jammed idle
actuator, a blocked pump."""
STROKES = ("procedure", 24, ((ramp.HOLD, 7500, 600), (ramp.HOLD, -7500, 600)))
TRICKS: dict[str, tuple[int, str, Life]] = {
    "pauses": (FREE, "held", (("procedure", 20, ((ramp.HOLD, 7500, 3500), (ramp.PAUSE, 0, 1))),)),
    "noise": (FREE, "held", (("noise", 60), ("jog", 7500, 30_000))),
    "limits": (
        SMALL,
        "winding",
        (STROKES, STROKES, STROKES, ("limits", 7), ("wait", 50), ("clear",), ("limits", 0)),
    ),
    "resets": (SMALL, "winding", (STROKES, ("reset",))),
}
"""Trick -> where it is played, by which measure it did harm, and the life."""
REPLUGGED: Life = (STROKES, ("replug",))
SWUNG: Life = (
    ("jog", 9791, 1020),
    ("procedure", 1, ((ramp.HOLD, 5783, 3900), (ramp.PAUSE, 0, 9), (ramp.PULSE, -6851, 12))),
    ("procedure", 5, ((ramp.STEP, 2939, 114), (ramp.PULSE, 8313, 65), (ramp.STEP, -3203, 64))),
)
"""Opens a valve against its stop for less than its 4 s, then lets it swing back by 0.4 of its travel."""
SHORT_TICKS = 400_000


@pytest.fixture(scope="module")
def fronts() -> dict[int, Front]:
    """Stages by their place in PARTS."""
    return {place: Front(Stage(PARTS[place])) for place in (FREE, SMALL)}


@pytest.mark.parametrize("trick", TRICKS)
def test_a_known_trick_does_no_more_harm_than_honest_use(fronts: dict[int, Front], trick: str) -> None:
    place, measure, life = TRICKS[trick]
    front = fronts[place]
    front.live(life)
    (found,) = (each for each in front.worst[measure] if each.life == life)
    assert found.harm > 3.0, "it did drive the part"
    assert found.ratio < 1.0, found


@pytest.mark.parametrize(("mv", "beyond_it"), [(70, False), (130, True)])
def test_a_swing_on_the_sensors_wire_passes_for_movement_above_80_mv_only(mv: int, beyond_it: bool) -> None:
    front = Front(Stage(PARTS[STICKY]))
    front.live((("swing", mv, 2660), ("procedure", 20, ((ramp.PULSE, 9590, 400), (ramp.PAUSE, 0, 8)))))
    assert any("held" in each for each in beyond([front])) == beyond_it, front.worst["held"]


LEFT: dict[str, tuple[int, str, float, Life]] = {
    "a blocked pump in short strokes": (
        PUMP,
        "winding",
        1.6,
        (
            ("wait", 327),
            ("wait", 545),
            ("procedure", 2, ((ramp.HOLD, -9801, 749), (ramp.PAUSE, 0, 33))),
            ("swing", 13, 513),
            ("procedure", 2, ((ramp.PAUSE, 0, 713),)),
            ("procedure", 5, ((ramp.STEP, 9167, 3900), (ramp.PULSE, 9692, 100))),
            ("estop", 28),
            ("procedure", 1, ((ramp.HOLD, 9142, 26),)),
        ),
    ),
    "short moves of a throttle against its stop": (FREE, "held", 2.4, (("jog", -8582, 934),)),
    "145 mV of noise": (
        FREE,
        "held",
        1.7,
        (
            ("stop",),
            ("swing", 48, 41),
            ("noise", 145),
            ("procedure", 5, ((ramp.STEP, -7790, 27328), (ramp.STEP, 7724, 2332))),
        ),
    ),
}
"""What the long search found beyond its bounds and the guards leave, with what it may come to at most."""


@pytest.mark.parametrize("name", LEFT)
def test_what_the_long_search_found_stays_within_what_the_manual_states(name: str) -> None:
    place, measure, most, life = LEFT[name]
    front = Front(Stage(PARTS[place]))
    front.live(life)
    (found,) = (each for each in front.worst[measure] if each.life == life)
    assert 1.0 < found.ratio < most, found


def test_a_valve_that_swings_from_its_stop_to_a_half_and_back_is_not_held() -> None:
    front = Front(Stage(PARTS[VALVE]))
    front.live(SWUNG)
    (found,) = front.worst["held"]
    assert 3.0 < found.harm < 4.0, "each time at the stop by itself; together they would be 13.5 s"


def test_a_nudge_of_a_held_part_is_no_movement_to_the_witness_and_a_quarter_of_the_travel_is() -> None:
    plant = SimpleNamespace(
        position=0.77, current_a=3.0, current_max_a=3.0, current_min_a=3.0, winding_c=20.0,
        conditions=SimpleNamespace(ambient_c=20.0),
    )  # fmt: skip
    witness = Witness(plant)
    witness.stall_a = 2.5
    for place, ticks, held_s in ((1.0, 2000, 1.94), (0.9, 1000, 2.84), (0.7, 1000, 0.99), (1.0, 1000, 0.99)):
        plant.position = place
        for _ in range(ticks):
            witness.look()
        assert witness.held == pytest.approx(held_s, abs=0.03)


def test_the_plug_pulled_and_put_back_is_seen_as_harm(fronts: dict[int, Front]) -> None:
    front = Front(fronts[SMALL].stage)
    front.live(REPLUGGED)
    assert any("winding" in each for each in beyond([front])), front.worst["winding"]
    assert "replug" in record("Title", [front], 1)


def test_the_same_life_does_the_same_harm_again() -> None:
    stages = [Stage(PARTS[STUCK]) for _ in range(2)]
    life = (("procedure", 2, ((ramp.RAMP, 9000, 400), (ramp.HOLD, -4000, 700))), ("reset",), ("wait", 33))
    found = [perform(stage, life, 5000) for stage in (*stages, stages[0])]
    assert found[0] == found[1] == found[2]
    assert found[0][0]["leads"] > 0


def test_a_short_search_drives_and_finds_no_hole() -> None:
    found = list(search(SHORT_TICKS, seed=20, parts=(PARTS[SMALL],)))
    (front,) = found[-1]
    assert front.ticks >= SHORT_TICKS and front.lives == len(found) >= 6
    assert front.worst["winding"][0].harm > 3.0, "it drove"
    assert not beyond([front]), beyond([front])


def test_the_same_seed_searches_the_same_lives() -> None:
    found = [list(search(90_000, seed=6, parts=(PARTS[STUCK],)))[-1][0].worst for _ in range(2)]
    assert found[0] == found[1]

"""A simulated throttle at its stop: no trick of a host, no noise holds it longer than a plain hold."""

from __future__ import annotations

from array import array
from collections.abc import Callable
from typing import Any

import numpy as np
from strokebench.bench.spec import SimSpec
from strokebench.link.conversion import limits_values
from strokebench.parts import load_part
from strokefw import channels, faults, state
from strokefw.drive import ramp
from strokefw.guard import budget
from strokefw.link import wire
from tools.evidence.faults.causes import TamperedBoard
from tools.evidence.rig import Rig

LIMITS = dict(zip(wire.LIMIT_FIELDS, limits_values(load_part("throttle-body").limits), strict=True))
SPEC = SimSpec("throttle-body", seed=7)
DRIVE, SLEW_MS = 3900, 200


def with_limits(**changes: int) -> tuple[int, ...]:
    return tuple({**LIMITS, **changes}.values())


def segment(kind: int, target: int, ms: int) -> tuple[int, ...]:
    return (kind, target, ms, 0, 0, 0, 0, 0, 0, 0, 0, 0)


def armed(board: TamperedBoard | None = None, **changes: int) -> Rig:
    rig = Rig(SPEC, board=board or TamperedBoard(SPEC))
    rig.app.guard.budgets.words[budget.TURNS] = budget.TURNS_MAX  # on for so long that nothing is assumed
    rig.ready(with_limits(**changes))
    rig.tick(800)  # until it knows where the part is
    assert rig.result("arm") == 0
    return rig


def driven_ms(rig: Rig, *segments: tuple[int, ...]) -> int:
    """Run a procedure and return for how long it drove: a fault ended it, or it was over."""
    rig.load(*segments)
    assert rig.result("run") == 0
    first = len(rig.steps)
    while rig.app.state in (state.DRIVING, state.STOPPING):
        rig.tick()
    return len(rig.steps) - first


def into_the_stop(*parts: tuple[int, ...]) -> tuple[tuple[int, ...], ...]:
    return (segment(ramp.RAMP, DRIVE, SLEW_MS), *parts)


def noisy(volts: Callable[[], float]) -> TamperedBoard:
    board = TamperedBoard(SPEC)

    def bend(counts: Any) -> None:
        shift = volts() * 1000 * channels.FULL_SCALE / channels.SENSOR_FULL_MV
        counts[channels.SENSOR_A] = max(0, min(channels.FULL_SCALE, counts[channels.SENSOR_A] + round(shift)))

    board.tamper = bend
    return board


def test_a_plain_hold_ends_after_the_profiles_time() -> None:
    rig = armed()
    assert LIMITS["stall_ms"] <= driven_ms(rig, *into_the_stop(segment(ramp.HOLD, DRIVE, 20_000))) < 5000
    assert rig.app.fault == faults.STALL


def test_a_pause_of_one_millisecond_every_three_and_a_half_seconds_buys_nothing() -> None:
    rig = armed()
    hold = (segment(ramp.HOLD, DRIVE, 3500), segment(ramp.PAUSE, 0, 1))
    assert driven_ms(rig, *into_the_stop(*hold * 8)) < 5000
    assert rig.app.fault == faults.STALL


def test_noise_of_60_mv_on_a_track_buys_nothing() -> None:
    dice = np.random.default_rng(1)
    rig = armed(noisy(lambda: float(dice.normal(0, 0.06))))
    assert driven_ms(rig, *into_the_stop(segment(ramp.HOLD, DRIVE, 20_000))) < 5000
    assert rig.app.fault == faults.STALL


def jammed() -> TamperedBoard:
    board = TamperedBoard(SPEC)

    def bend(counts: Any) -> None:
        counts[channels.SENSOR_A] = counts[channels.SENSOR_B] = channels.MID_SCALE

    board.tamper = bend
    return board


def test_two_sessions_and_an_arming_in_between_buy_a_jammed_part_nothing() -> None:
    rig = armed(jammed())
    assert driven_ms(rig, *into_the_stop(segment(ramp.HOLD, DRIVE, 3000))) < 3500
    rig.ask("hello", wire.PROTOCOL)
    rig.ask("limits", *with_limits(stall_ms=30_000, stall_ma=14_000))
    rig.ask("limits", *with_limits())
    rig.tick(500)  # it swings back
    assert rig.result("arm") == 0
    assert driven_ms(rig, *into_the_stop(segment(ramp.HOLD, DRIVE, 20_000))) < 2200
    assert rig.app.fault == faults.STALL


def spent() -> Rig:
    """Return a bench that has latched 36: a throttle's budget, a twentieth of its size."""
    rig = armed(i2t_part_a2s=30, i2t_part_rest_ma=1000)
    driven_ms(rig, *into_the_stop(segment(ramp.HOLD, 6000, 20_000)))
    rig.tick(20)
    assert rig.app.fault == faults.BUDGET_PART
    assert rig.result("clear") == faults.FAULT_LATCHED
    return rig


def test_limits_with_a_higher_rest_current_open_no_way_to_clear() -> None:
    rig = spent()
    assert rig.ask("limits", *with_limits(i2t_part_a2s=600, i2t_part_rest_ma=11_000))[0] == "limits_in_force"
    rig.tick(30)
    assert rig.result("clear") == faults.FAULT_LATCHED
    rig.tick(2000)
    assert rig.result("clear") == faults.FAULT_LATCHED


def test_a_reset_forgets_no_budget_and_a_new_plug_leaves_half() -> None:
    rig = spent()
    scratch = rig.board.scratch
    nothing = array("H", bytes(2 * len(scratch)))
    for kept, expected in ((scratch, faults.BUDGET_PART), (nothing, 0)):
        board = TamperedBoard(SPEC)
        board.scratch = kept
        again = Rig(SPEC, board=board)
        again.ready(with_limits(i2t_part_a2s=30, i2t_part_rest_ma=1000))
        assert again.result("arm") == expected
    assert 500 <= again.app.guard.left_part < 560

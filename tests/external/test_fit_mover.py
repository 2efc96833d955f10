"""The fit of a moving part from plain arrays, on a throttle solved by scipy (LSODA) with known parameters.

Nothing of our own simulation takes part; no label of the recording is used.
"""

from __future__ import annotations

import math
from functools import cache

import numpy as np
import pytest
from strokebench.data.run import RunData
from strokebench.diagnose import diagnose
from strokebench.diagnose.case import load_voltage
from strokebench.diagnose.moving.fit.mover import Mover, fit_mover
from strokebench.diagnose.moving.fit.regress import solve, weak
from strokebench.parts import load_part

from tests.helpers.solved_throttle import (
    REST_RAD,
    TRAVEL_RAD,
    Piece,
    Truth,
    record,
    stall_pieces,
    step_pieces,
    sweep_pieces,
)

BRUSHES = Truth(drop_v=0.4)
K_PERCENT = BRUSHES.k_si * TRAVEL_RAD / 100
"""Motor constant in V per % of travel per s."""


@cache
def everything() -> RunData:
    return record(stall_pieces() + sweep_pieces(1) + step_pieces(), BRUSHES)


@cache
def moved_about() -> RunData:
    """Somebody else's recording: moves of several speeds, no stop held, no slow sweep."""
    pieces = [Piece("a", "pause", None, 0.4)]
    for up, down in ((0.42, -0.40), (0.55, -0.30), (0.75, -0.55)):
        pieces += [
            Piece("a", "ramp", up, 0.5), Piece("a", "ramp", 0.15, 0.3), Piece("a", "ramp", down, 0.7),
            Piece("a", "step", up, 0.25), Piece("a", "pause", None, 0.4),
        ]  # fmt: skip
    return record(pieces, BRUSHES)


def fitted(run: RunData, **more: float) -> Mover:
    rows = run.samples
    percent = (np.asarray(rows["sensor_a_v"], float) - 0.5) / 4 * 100
    amps = np.asarray(rows["current_a"], float)
    return fit_mover(np.ascontiguousarray(rows["time_s"]), load_voltage(rows), amps, percent, **more)  # type: ignore[arg-type]


@pytest.mark.parametrize("run", [everything, moved_about])
def test_friction_and_spring_come_from_whatever_moves(run) -> None:  # type: ignore[no-untyped-def]
    torque = fitted(run()).torque
    assert torque is not None
    rest = 100 * REST_RAD / TRAVEL_RAD
    assert torque.rest == pytest.approx(rest, abs=1.0)
    (preload, u_preload), (slope, u_slope) = torque.spring_line(rest + 4, 97)
    friction, u_friction = torque.friction(rest + 4, 97)
    for value, u, true in (
        (preload, u_preload, BRUSHES.preload),
        (slope, u_slope, BRUSHES.spring * TRAVEL_RAD),
        (friction, u_friction, BRUSHES.coulomb),
    ):
        off = abs(value - true / BRUSHES.k_si)
        assert off < 0.01 + 2 * u and u < 0.02
    assert torque.viscous[0] == pytest.approx(BRUSHES.viscous / BRUSHES.k_si * TRAVEL_RAD / 100, rel=0.15)
    assert torque.inertia[0] == pytest.approx(BRUSHES.inertia / BRUSHES.k_si * TRAVEL_RAD / 100, rel=0.08)


def test_the_contact_drop_is_not_taken_for_resistance_or_motor_constant() -> None:
    electric = fitted(everything()).electric
    assert electric is not None
    assert electric.ohm[0] == pytest.approx(BRUSHES.ohm, rel=0.004)
    assert electric.constant[0] == pytest.approx(K_PERCENT, rel=0.006)
    for amps in (0.6, 2.0, 4.0):
        assert electric.drop_v(amps)[0] == pytest.approx(BRUSHES.drop_v * math.tanh(amps / 0.3), abs=0.03)


def test_the_constant_that_is_judged_has_the_drop_taken_off() -> None:
    """It was 5.5 % too high with brushes that drop 0.4 V."""
    found = {finding.key: finding for finding in diagnose(everything(), load_part("throttle-body"))}
    assert found["motor_constant"].value == pytest.approx(BRUSHES.k_si, rel=0.01)


def test_one_way_alone_does_not_tell_friction_from_spring() -> None:
    pieces = [Piece("somewhere", "ramp", -0.45, 0.4), *sweep_pieces(1)[:4]]
    torque = fitted(record(pieces, BRUSHES), rest=100 * REST_RAD / TRAVEL_RAD).torque
    assert torque is not None
    assert torque.friction(15, 97)[1] > 1.0  # amperes: as good as unknown


def test_noise_of_a_variable_is_taken_off_its_power() -> None:
    """Plain least squares loses a fifth of the slope here."""
    rng = np.random.default_rng(4)
    true = rng.normal(0, 1, 4000)
    seen = true + rng.normal(0, 0.5, 4000)
    design = np.column_stack((seen, np.ones(4000)))
    values = 2 * true + 1 + rng.normal(0, 0.1, 4000)
    prior = weak(np.array([100.0, 100.0]))
    groups = np.arange(4000)
    plain = solve(design, values, prior, np.zeros(2), groups, 1.0)
    fair = solve(design, values, prior, np.array([0.5, 0.0]), groups, 1.0)
    assert plain.answer[0] == pytest.approx(2 / 1.25, rel=0.04)
    assert fair.answer == pytest.approx([2.0, 1.0], rel=0.06)


def test_the_covariance_is_that_of_repeated_noise() -> None:
    rng = np.random.default_rng(5)
    x = np.linspace(-1, 1, 400)
    design = np.column_stack((x, np.ones(400)))
    prior, groups = weak(np.array([100.0, 100.0])), np.zeros(400, np.intp)
    found = []
    for _ in range(300):
        smooth = np.convolve(rng.normal(0, 1, 410), np.ones(11) / 11, "valid")  # 11 rows share their noise
        found.append(solve(design, 2 * x + smooth, prior, np.zeros(2), groups, 1.0))
    told = np.mean([fit.of(np.array([1.0, 0.0]))[1] for fit in found])
    assert told == pytest.approx(np.std([fit.answer[0] for fit in found]), rel=0.25)

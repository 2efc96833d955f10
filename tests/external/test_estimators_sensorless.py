"""A small motor between two stops, solved by scipy (LSODA): travel, friction, a tight spot, no sensor.

Equations as for the throttle without its spring (tests/helpers/solved_throttle.py). Nothing of our simulation
takes part.
"""

from __future__ import annotations

import math

import pytest
from strokebench.data.findings import Finding
from strokebench.diagnose import diagnose
from strokebench.parts import load_part

from tests.helpers.solved_throttle import TRAVEL_RAD, Piece, Truth, record

FREE = {
    "ohm": 12.0, "henry": 8e-3, "k_si": 0.75, "inertia": 4e-4, "viscous": 0.002, "spring": 0.0,
    "preload": 0.0,
}  # fmt: skip
COULOMB = 0.09


def pieces() -> list[Piece]:
    """The built-in procedure's stalls, quick strokes and slow strokes."""
    out = [Piece("home", "step", -0.7, 0.5)]
    out += [Piece("stall_close", "hold", drive, 0.2) for drive in (-0.7, -0.5, -0.3)]
    out += [Piece("home", "step", 0.7, 0.5)]
    out += [Piece("stall_open", "hold", drive, 0.2) for drive in (0.7, 0.5, 0.3)]
    out += [Piece("stroke_close", "step", -0.7, 0.6), Piece("stroke_open", "step", 0.7, 0.6)] * 3
    out += [Piece("home", "step", -0.7, 0.6)]
    for label, sign in (("sweep_open", 1), ("sweep_return", -1)) * 3:
        out += [
            Piece(label, "ramp", 0.3 * sign, 0.05), Piece(label, "ramp", 0.32 * sign, 0.8),
            Piece(label, "ramp", 0.7 * sign, 0.35), Piece(label, "hold", 0.7 * sign, 0.3),
        ]  # fmt: skip
    return out


def findings(truth: Truth) -> dict[str, Finding]:
    run = record(pieces(), truth)
    return {finding.key: finding for finding in diagnose(run, load_part("idle-actuator"))}


@pytest.fixture(scope="module")
def good() -> dict[str, Finding]:
    return findings(Truth(coulomb=COULOMB, **FREE))


def test_travel_is_the_integral_of_the_back_emf(good: dict[str, Finding]) -> None:
    assert good["travel"].value == pytest.approx(100 * math.degrees(TRAVEL_RAD) / 90.0, rel=0.015)
    assert good["travel"].value - 100 * math.degrees(TRAVEL_RAD) / 90.0 == pytest.approx(
        0, abs=2 * good["travel"].u
    )
    assert good["travel_spread"].value < 1.5


def test_friction_is_the_dry_one_without_the_viscous_share(good: dict[str, Finding]) -> None:
    friction = good["friction"]
    viscous_a = 0.002 * 3.0 / 0.75  # at the speed of the slow strokes
    assert friction.value == pytest.approx(COULOMB / 0.75, abs=2 * friction.u)
    assert 2 * friction.u < 0.25 * viscous_a
    assert good["binding"].value < 10


def test_resistance(good: dict[str, Finding]) -> None:
    assert good["winding_resistance"].value + 0.05 == pytest.approx(12.0, rel=0.005)


@pytest.mark.parametrize("place", [0.25, 0.6])
def test_a_tight_spot_is_found_where_it_is(place: float) -> None:
    def bump_nm(angle: float) -> float:
        return 0.09 * math.exp(-0.5 * ((angle / TRAVEL_RAD - place) / 0.02) ** 2)

    found = findings(Truth(coulomb=COULOMB, extra_nm=bump_nm, **FREE))["binding"]
    assert found.value > 50
    assert found.place == pytest.approx(100 * place, abs=2.0)


def test_twice_the_friction_is_seen_as_friction(good: dict[str, Finding]) -> None:
    found = findings(Truth(coulomb=2 * COULOMB, **FREE))
    assert found["friction"].value / good["friction"].value == pytest.approx(2.0, rel=0.07)
    assert found["binding"].value < 15


def test_a_motor_that_cannot_turn_is_jammed() -> None:
    found = findings(Truth(coulomb=50.0, **FREE))
    assert found["travel"].value < 10
    assert found["travel"].fault == "jammed"

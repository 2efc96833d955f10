"""A pump's motor that ngspice switches on and off with open leads, judged through the command line.

The deck is that of test_second_family_ngspice (brushes, eddy ring, commutated coils, LuGre friction). Truth
is its parameters and ngspice's own speed. Its back-EMF has a commutator's ripple while it runs down.
"""

from __future__ import annotations

import json
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from strokebench.cli import main
from strokebench.sim.second.rotor import Turner
from tools.evidence.foreign.dialects import DIALECTS, mapping, write

from hardware.spice import runner
from tests.external.test_second_family_ngspice import MOTOR, motor_deck
from tests.helpers.spice_run import Floats, transient

pytestmark = [
    pytest.mark.skipif(not runner.available(), reason="ngspice is not installed"),
    pytest.mark.slow,
]
OHM, VOLTS, REST_S, ON_S, OFF_S = 0.5, 12.0, 0.1, 0.6, 0.25
RATE_HZ = 20_000


@lru_cache
def switched(motor: Turner) -> tuple[dict[str, Floats], float]:
    """A recording of one motor, and its speed in rad/s before it was switched off."""
    off_s = REST_S + ON_S
    volts = np.r_[np.zeros(round(1000 * REST_S)), np.full(round(1000 * (ON_S + OFF_S + 0.1)), VOLTS)]
    opens = f"Rsw a m R='0.001+(time>{off_s} ? min((time-{off_s})*2e6, 1e5) : 0)'\nR1 m b {OHM}"
    deck = motor_deck(motor, OHM, volts, 0.3).replace(f"R1 a b {OHM}", opens)
    time_s = np.arange(round((off_s + OFF_S) * RATE_HZ)) / RATE_HZ
    found = transient(deck, {"amps": "i(Vs)", "v": "v(m)", "w": "v(w)"}, 2e-5, time_s, "uic")
    rng = np.random.default_rng(1)
    table = {
        "time_s": time_s,
        "current_a": np.round(found["amps"] + rng.normal(0, 0.01, len(time_s)), 4),
        "output_a_v": np.round(found["v"] + rng.normal(0, 0.004, len(time_s)), 4),
    }
    return table, float(np.interp(off_s - 0.02, time_s, found["w"]))


def judged(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], motor: Turner, dialect: int
) -> tuple[set[str], dict[str, Any]]:
    table, _ = switched(motor)
    path = tmp_path / "any.csv"
    path.write_bytes(write(DIALECTS[dialect], table))
    command = ["judge", str(path), "--part", "fuel-pump", "--no-report", "--json"]
    main([*command, "--map", mapping(DIALECTS[dialect], table)])
    findings = json.loads(capsys.readouterr().out)["findings"]
    named = {finding["fault"] for finding in findings if finding["verdict"] == "fail"}
    return named, {finding["key"]: finding for finding in findings}


@pytest.mark.parametrize("dialect", [0, 5, 21])
def test_motor_and_load_of_ngspice_by_start_and_run_down(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], dialect: int
) -> None:
    named, found = judged(tmp_path, capsys, MOTOR, dialect)
    speed = switched(MOTOR)[1]
    assert named == set()
    assert found["speed"]["value"] == pytest.approx(speed * 30 / np.pi, rel=0.003)
    half = MOTOR.rated_rad_s / 2
    truth = {
        "motor_constant": MOTOR.k_si,
        "loop_resistance": OHM,
        "drag": 1e3 * MOTOR.dry_nm,
        "load_torque": 1e3 * MOTOR.load_nm(MOTOR.rated_rad_s),
        "load_rise": 1e3 * (MOTOR.load_nm(MOTOR.rated_rad_s) - MOTOR.load_nm(half)),
    }
    for key, true in truth.items():
        assert found[key]["value"] == pytest.approx(true, abs=2 * found[key]["u"]), key
    assert 2 * found["motor_constant"]["u"] < 0.03 * MOTOR.k_si
    assert 2 * found["load_torque"]["u"] < 6
    for key in ("turning", "motor_constant", "loop_resistance", "load_torque"):
        assert found[key]["verdict"] == "pass"


@pytest.mark.long
def test_weak_magnets_of_ngspice_are_named(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    named, _ = judged(tmp_path, capsys, replace(MOTOR, k_si=0.6 * MOTOR.k_si), 1)
    assert named == {"weak_magnet"}

"""Solenoids that ngspice switches on and off, written in the dialects of other people's instruments, judged.

The decks are those of test_second_family_ngspice: a coil with rings of eddy currents, and its plunger, as
behavioural sources. Truth is ngspice's: when the plunger arrives, and the resistance of the loop.
"""

from __future__ import annotations

import json
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from strokebench.cli import main
from strokebench.sim.second.solenoid_onoff import specimen
from tools.evidence.foreign.dialects import DIALECTS, Dialect, mapping, write

from hardware.spice import runner
from tests.external.test_second_family_ngspice import coil_deck
from tests.helpers.spice_run import Floats, transient

pytestmark = [
    pytest.mark.skipif(not runner.available(), reason="ngspice is not installed"),
    pytest.mark.slow,
]
OHM, VOLTS, REST_MS, ON_MS, OFF_MS = 19.5, 12.6, 30, 150, 60
RATE_HZ = 10_000


@lru_cache
def switched(seed: int) -> tuple[dict[str, Floats], float]:
    """A recording of one coil, and how many ms after switching on its plunger arrived."""
    coil = specimen(np.random.default_rng((seed, 11)))
    volts = np.r_[np.zeros(REST_MS), np.full(ON_MS, VOLTS), np.zeros(OFF_MS)]
    time_s = np.arange(round(len(volts) * RATE_HZ / 1000)) / RATE_HZ
    vectors = {"amps": "i(Vs)", "x": "v(x)"}
    found = transient(coil_deck(coil, OHM, volts), vectors, 2e-5, time_s, "uic")
    arrived = int(np.argmax(found["x"] * 1e-3 > 0.98 * coil.stroke_m))
    noise_a = np.random.default_rng(seed).normal(0, 0.002, len(time_s))
    table = {
        "time_s": time_s,
        "current_a": np.round(found["amps"] + noise_a, 4),
        "output_a_v": volts[(time_s * 1000 + 1e-9).astype(int)],
        "supply_v": np.full(len(time_s), VOLTS),
    }
    return table, 1e3 * float(time_s[arrived]) - REST_MS


def judged(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], table: dict[str, Floats], dialect: Dialect
) -> dict[str, Any]:
    path = tmp_path / "any.csv"
    path.write_bytes(write(dialect, table))
    command = ["judge", str(path), "--part", "solenoid", "--no-report", "--json"]
    assert main([*command, "--map", mapping(dialect, table)]) == 3, "a good one: never a fail, never refused"
    told: dict[str, Any] = json.loads(capsys.readouterr().out)
    return {finding["key"]: finding for finding in told["findings"]}


@pytest.mark.parametrize("dialect", DIALECTS, ids=lambda dialect: dialect.name)
def test_a_coil_of_ngspice_in_every_dialect(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], dialect: Dialect
) -> None:
    table, arrived_ms = switched(3)
    found = judged(tmp_path, capsys, table, dialect)
    assert found["pull_in_time"]["value"] == pytest.approx(arrived_ms, abs=0.5)
    assert found["winding_resistance"]["verdict"] == "pass"


@pytest.mark.parametrize("seed", [4, 5, 6])
def test_resistance_and_pull_in_of_ngspice_coils(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], seed: int
) -> None:
    table, arrived_ms = switched(seed)
    found = judged(tmp_path, capsys, table, DIALECTS[0])
    assert found["pull_in_time"]["value"] == pytest.approx(arrived_ms, abs=0.5)
    resistance = found["winding_resistance"]
    assert resistance["value"] == pytest.approx(OHM - 0.05, abs=2 * resistance["u"])

"""Trials whose plant runs in another interpreter: the same figures, and a plain sentence when it dies."""

from __future__ import annotations

import shlex
import sys

import pytest
from strokebench.bench.spec import SimSpec
from strokebench.errors import DataError
from strokebench.sim import trial_worker, trials
from strokebench.sim.trials import plan


def test_another_interpreter_simulates_the_same() -> None:
    """Stands in for PyPy: this Python as the other one, through the same pipes."""
    chosen = [trial for trial in plan("solenoid", 1, 1, 3) if trial.name in ("good", "open_winding")]
    here = [trials.examine(trial) for trial in chosen]
    other = trial_worker.Simulator(shlex.quote(sys.executable))
    try:
        there = [trials.examine(trial, other.stroke) for trial in chosen]
    finally:
        other.close()
    assert here == there and here[1]["refused"] and here[0]["verdict"] == "pass"


def test_a_simulator_that_dies_is_told() -> None:
    with pytest.raises(DataError, match="ended by itself"):
        dead = trial_worker.Simulator(f"{shlex.quote(sys.executable)} -c pass")
        dead.stroke(SimSpec())

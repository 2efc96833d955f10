"""Estimators of coils on signals by other people's code: scipy.signal, scipy's ODE solver, ngspice.

Worked numbers of the reference solenoid (static pull-in 0.34641 A, drop-out 0.11456 A, 40 and 100 mH, seated
8.07 ms after a 12 V step) are those of the project's reference sheet, computed apart from the simulation.
"""

from __future__ import annotations

import re
import shutil
import subprocess
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from scipy import signal
from strokebench.data.findings import Finding, Verdict
from strokebench.diagnose import diagnose
from strokebench.diagnose.coil.duty_curve import loop_width
from strokebench.diagnose.coil.inductor import first_order, lagged
from strokebench.diagnose.coil.pull_time import valley
from strokebench.diagnose.moving.sweeps import GRID
from strokebench.parts import load_part
from strokebench.verdict import judge, named_faults

from tests.helpers.solved_solenoid import OHM, Piece, record

needs_ngspice = pytest.mark.skipif(shutil.which("ngspice") is None, reason="ngspice is not installed")


def stepped_volts(ticks: int = 90, level_v: float = 2.5, rise: int = 3) -> np.ndarray:
    """A bench's step: eight ticks of nothing, a rise in stairs, then constant."""
    return np.r_[np.zeros(8), np.linspace(level_v / rise, level_v, rise), np.full(ticks - 8 - rise, level_v)]


@pytest.mark.parametrize("siemens", [0.0, 2e-3, 12e-3])
@pytest.mark.parametrize(("ohm", "henry"), [(20.0, 40e-3), (8.0, 12e-3), (30.0, 150e-3)])
def test_first_order_gives_back_what_scipy_signal_was_told(ohm: float, henry: float, siemens: float) -> None:
    fine = 100
    volts = stepped_volts()
    time_s = np.arange(len(volts) * fine) / (1000 * fine)
    _, coil_a, _ = signal.lsim(([1.0], [henry, ohm]), np.repeat(volts, fine), time_s, interp=False)
    amps = (coil_a + siemens * np.repeat(volts, fine)).reshape(-1, fine).mean(axis=1)
    amps += np.random.default_rng(5).normal(0, 0.0006, len(amps))
    found = first_order(volts, amps, 1e-3)
    assert found.henry == pytest.approx(henry, rel=0.05)  # one noisy step; a run takes the mean of six
    assert found.siemens == pytest.approx(siemens, abs=1.5e-3)
    assert 1 / found.ohm + found.siemens == pytest.approx(1 / ohm + siemens, rel=0.01)


def test_lag_agrees_with_scipy_signal() -> None:
    volts = np.random.default_rng(2).normal(0, 5, 60)
    _, out, _ = signal.lsim(
        ([1.0], [3e-3, 1.0]), np.repeat(volts, 200), np.arange(12_000) / 2e5, interp=False
    )
    assert lagged(volts, 1e-3, 3e-3) == pytest.approx(out.reshape(-1, 200).mean(axis=1), abs=0.03)


DECK = """\
* step in stairs into a coil with a leaking diode beside it
V1 a 0 PWL(0 0 8m 0 8.001m 1.25 9m 1.25 9.001m 2.5 90m 2.5)
R1 a b 20
L1 b 0 40m
R2 a 0 {beside}
.tran 10u 90m 0 5u
.control
run
linearize
let amps = -v1#branch
wrdata {out} amps a
.endc
.end
"""


@needs_ngspice
@pytest.mark.parametrize("beside", [50.0, 167.0, 1e6])
def test_leak_and_inductance_from_an_ngspice_transient(tmp_path: Path, beside: float) -> None:
    deck, out = tmp_path / "deck.cir", tmp_path / "current.data"
    deck.write_text(DECK.format(beside=beside, out=out))
    subprocess.run(["ngspice", "-b", str(deck)], check=True, capture_output=True, timeout=60)
    rows = out.read_text().splitlines()
    table = np.array([[float(x) for x in re.split(r"\s+", row.strip())] for row in rows])[:9000]
    amps, volts = (table[:, column].reshape(90, 100).mean(axis=1) for column in (1, 3))
    found = first_order(volts, amps, 1e-3)
    assert found.henry == pytest.approx(40e-3, rel=0.02)
    assert found.siemens == pytest.approx(1 / beside, abs=0.3e-3)


def procedure() -> list[Piece]:
    """What the built-in procedure does, as volts at a 12 V supply."""
    small = [Piece("coil_step", 2.4, 0.08), Piece("off", 0.0, 0.07)] * 4
    levels = [Piece("coil_level", volts, 0.3) for volts in (12.0, 8.4, 4.8)] + [Piece("off", 0.0, 0.15)]
    ramps = [
        Piece("up", 2.0, 0.05, ramp=True), Piece("pull_in", 12.0, 1.9, ramp=True),
        Piece("down", 4.8, 0.1, ramp=True), Piece("drop_out", 0.2, 1.5, ramp=True), Piece("off", 0.0, 0.05),
    ] * 3  # fmt: skip
    held = [Piece("held", 12.0, 0.2)] + [Piece("coil_step_pulled", 7.2, 0.1), Piece("held", 12.0, 0.1)] * 4
    quick = [
        piece
        for volts in (12.0, 10.8, 9.6)
        for piece in (Piece("off", 0.0, 0.1), Piece("pull_step", volts, 0.1))
    ]
    return [*small, *levels, *ramps, *held, *quick]


@cache
def found(stuck_m: float | None = None) -> dict[str, Finding]:
    run = record(procedure(), stuck_m)
    return {finding.key: finding for finding in judge(diagnose(run, load_part("solenoid")))}


def test_resistance_and_both_inductances() -> None:
    assert found()["winding_resistance"].value + 0.05 == pytest.approx(OHM, rel=0.005)
    assert found()["inductance"].value == pytest.approx(40.0, rel=0.02)
    assert found()["inductance_pulled"].value == pytest.approx(100.0, rel=0.02)
    assert found()["leak"].value == pytest.approx(0.0, abs=0.5)


def test_pull_in_and_drop_out_lie_just_beyond_the_static_values() -> None:
    """The ramp goes on while the plunger starts: 1.5 to 3 % beyond at 3 V/s on the reference sheet."""
    assert 0.34641 < found()["pull_in_current"].value < 1.05 * 0.34641
    assert 0.92 * 0.11456 < found()["drop_out_current"].value < 1.01 * 0.11456


def test_pull_in_time_is_the_time_of_seating() -> None:
    run = record([Piece("off", 0.0, 0.1), Piece("pull_step", 12.0, 0.1)])
    mark = run.marks[-1]
    at = valley(np.asarray(run.of(mark)["current_a"], float))
    assert at is not None
    assert at + 0.5 == pytest.approx(8.07, abs=0.6)  # the corner of the dip, seen through means over 1 ms
    assert found()["pull_in_time"].value == pytest.approx(8.07, abs=2 * found()["pull_in_time"].u)
    assert found()["pull_in_time"].u < 0.6


@pytest.mark.parametrize(("stuck_m", "name"), [(0.0, "stuck_open"), (1.5e-3, "stuck_closed")])
def test_a_plunger_that_does_not_move_is_called_so(stuck_m: float, name: str) -> None:
    findings = list(found(stuck_m).values())
    assert named_faults(findings) == [name]
    assert found(stuck_m)["plunger_moves"].value == pytest.approx(1.0, abs=0.05)
    assert found(stuck_m)["pull_in_time"].verdict is Verdict.INCONCLUSIVE


def test_loop_width_is_friction_over_spring_rate() -> None:
    """x = (pull - preload -+ friction) / rate in closed form, pull by i^2: width = 2 friction / rate."""
    preload, rate, friction, pull_per_a2 = 0.35, 1.48, 0.06, 1.3
    up_a, down_a = (
        np.sqrt((preload + rate * GRID / 100 + sign * friction) / pull_per_a2) for sign in (1, -1)
    )
    assert loop_width(up_a, down_a) == pytest.approx(100 * 2 * friction / rate, rel=0.02)
    assert loop_width(up_a, np.full(len(GRID), np.nan)) is None

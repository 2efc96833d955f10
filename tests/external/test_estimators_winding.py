"""Resistance and inductance from signals that others made: ngspice transients, scipy.signal, closed forms."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest
from scipy import signal
from strokebench.data.run import Burst, Mark, RunData
from strokebench.data.samples import empty
from strokebench.diagnose.case import Case
from strokebench.diagnose.moving.ripple import amplitude, henry, strongest_hz
from strokebench.diagnose.winding import fit_loop
from strokebench.parts import load_part
from strokebench.physics.copper import resistance_at

needs_ngspice = pytest.mark.skipif(shutil.which("ngspice") is None, reason="ngspice is not installed")

DECK = """\
* bridge leg with PWM into R and L, steady state
V1 a 0 PULSE(0 12 0 1n 1n {on}u 50u)
R1 a b {ohm}
L1 b 0 {henry} IC={start}
.tran 0.5u 12m 8m 0.5u UIC
.options method=gear
.control
run
linearize
wrdata {out} -v1#branch
.endc
.end
"""


def spice_burst(tmp_path: Path, duty: float, ohm: float, coil_henry: float) -> Burst:
    out = tmp_path / "current"
    deck = tmp_path / "deck.cir"
    start = 12 * duty / ohm
    deck.write_text(DECK.format(on=50 * duty, ohm=ohm, henry=coil_henry, start=start, out=out))
    subprocess.run(["ngspice", "-b", str(deck)], check=True, capture_output=True, timeout=60)
    text = out.read_text() if out.exists() else out.with_suffix(".data").read_text()
    values = np.array([[float(x) for x in re.split(r"\s+", row.strip())] for row in text.splitlines()])
    return Burst("current_fine", "A", 1 / (values[1, 0] - values[0, 0]), 0.0, values[:, 1], "burst_ripple")


@needs_ngspice
@pytest.mark.parametrize(
    ("duty", "ohm", "coil_henry"), [(0.48, 1.55, 1.5e-3), (0.3, 1.2, 0.8e-3), (0.6, 2.5, 0.2e-3)]
)
def test_inductance_from_an_ngspice_transient(
    tmp_path: Path, duty: float, ohm: float, coil_henry: float
) -> None:
    burst = spice_burst(tmp_path, duty, ohm, coil_henry)
    pwm_hz = strongest_hz(burst)
    assert pwm_hz == pytest.approx(20_000, rel=1e-3)
    found = henry(amplitude(burst.values, burst.rate_hz, pwm_hz), pwm_hz, duty, 12.0, ohm)
    assert found == pytest.approx(coil_henry, rel=0.01)


@pytest.mark.parametrize("duty", [0.25, 0.48, 0.8])
def test_fundamental_of_a_square_wave_through_a_first_order_filter(duty: float) -> None:
    """scipy.signal makes the square wave and the R-L admittance; the estimator must give L back."""
    rate_hz, ohm, coil_henry = 4e6, 1.5, 1.5e-3
    time_s = np.arange(120_000) / rate_hz
    volts = 6.0 * (1 + signal.square(2 * np.pi * 20e3 * time_s, duty))
    _, current_a, _ = signal.lsim(([1.0], [coil_henry, ohm]), volts, time_s)
    tail = current_a[-40_000:]
    found = henry(amplitude(tail, rate_hz, 20e3), 20e3, duty, 12.0, ohm)
    assert found == pytest.approx(coil_henry, rel=0.01)


def test_amplitude_is_found_below_the_noise() -> None:
    rng = np.random.default_rng(1)
    time_s = np.arange(4000) / 5e5
    values = 3.8 + 0.05 * np.sin(2 * np.pi * 20_013 * time_s + 0.3) + rng.normal(0, 0.1, 4000)
    assert amplitude(values, 5e5, 20_013) == pytest.approx(0.05, abs=0.006)


def stalls(
    ohm_20c: float, lead_ohm: float, part_c: float, *, heat_per_a2s: float, brush_v: float,
    zero_a: float = 0.0,
) -> Case:  # fmt: skip
    """Holds at six levels of a winding that warms by its own current, in closed form per sample.

    ``zero_a``: what the current reads beyond what flows; with one, a rest comes before the holds.
    """
    rows, marks, now_s, heat = [], [], 0.0, 0.0
    rng = np.random.default_rng(7)
    if zero_a:
        rows, marks, now_s = [empty(300)], [Mark("rest", 0.0, 0.3, 0, "pause")], 0.3
        rows[0]["time_s"], rows[0]["supply_v"], rows[0]["part_c"] = np.arange(300) * 1e-3, 12, part_c
        for name in ("current_a", "output_a_v", "output_b_v"):
            rows[0][name] = 0.0
    for label, level_v in [("stall_close", -v) for v in (5, 7, 9)] + [("stall_open", v) for v in (5, 7, 9)]:
        marks.append(Mark(label, now_s, now_s + 0.3, len(marks), "hold"))
        part = empty(300)
        for index in range(300):
            ohm = resistance_at(ohm_20c, 20.0, part_c) * (1 + heat_per_a2s * heat) + lead_ohm
            current_a = (abs(level_v) - brush_v) / ohm * np.sign(level_v)
            heat += current_a**2 * 1e-3
            part[index] = (now_s, level_v / 12, current_a, 12, max(level_v, 0), max(-level_v, 0),
                           1, 1, 25, part_c, 4, 0)  # fmt: skip
            now_s += 1e-3
        rows.append(part)
    samples = np.concatenate(rows)
    samples["current_a"] += zero_a
    for name in ("current_a", "output_a_v", "output_b_v"):
        samples[name] += rng.normal(0, 0.002, len(samples))
    return Case(RunData(samples, marks), load_part("throttle-body"))


@pytest.mark.parametrize("part_c", [0.0, 20.0, 45.0])
@pytest.mark.parametrize("brush_v", [0.0, 0.6])
def test_resistance_is_that_of_the_cold_winding(part_c: float, brush_v: float) -> None:
    from strokebench.diagnose.winding import find

    case = stalls(1.5, 0.05, part_c, heat_per_a2s=5e-4, brush_v=brush_v)
    found = {finding.key: finding for finding in find(case)}["winding_resistance"]
    assert found.value == pytest.approx(1.5, rel=0.004)
    assert found.evidence["brush_v"] == pytest.approx(brush_v, abs=0.03)


def test_a_zero_of_the_current_is_taken_for_neither_warmth_nor_brushes() -> None:
    """All holds of one polarity come first, so a zero looks like a winding that warms or cools. 12 ohm
    and 0.4 to 0.8 A, as in a small actuator."""
    case = stalls(12.0, 0.05, 20.0, heat_per_a2s=2e-3, brush_v=0.2, zero_a=0.010)
    loop = fit_loop(case)
    assert not isinstance(loop, str)
    assert loop.ohm == pytest.approx(12.05, rel=0.004)
    assert loop.brush_v == pytest.approx(0.2, abs=0.03)


def test_too_few_levels_give_a_reason_instead_of_a_number() -> None:
    case = stalls(1.5, 0.05, 20.0, heat_per_a2s=0.0, brush_v=0.0)
    case.run.marks[:] = case.run.marks[:2]
    assert "levels" in str(fit_loop(case))

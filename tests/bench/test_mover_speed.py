"""Time to analyse ten minutes of a throttle at 1 kHz, beside a plain NumPy/SciPy version of the same steps.

The recording is made by formula: the plate goes to and fro between its stops and is held there at several
drives. The plain version does the main steps in the obvious way: both tracks to position, speed and
acceleration by a Savitzky-Golay filter, one least-squares fit of volts and one of torques over all samples
with a straight spring, medians at the stops, and the worst disagreement of the tracks.
"""

from __future__ import annotations

import math
import time
from typing import Any

import numpy as np
import pytest
from scipy.signal import savgol_filter
from strokebench.data.run import Mark, RunData
from strokebench.data.samples import empty
from strokebench.diagnose import diagnose
from strokebench.parts import load_part

pytestmark = pytest.mark.long  # a ratio of two times: 2.8 on a still computer, up to 4.6 on a busy one

ROWS, CYCLE_S = 600_000, 12.0
OHM, K_PERCENT, INERTIA, VISCOUS, COULOMB, PRELOAD, RISE = 1.5, 0.00575, 8e-5, 3.5e-4, 0.47, 1.03, 0.0034
REST = 10.0


def recording() -> RunData:
    """Cycles of 12 s: held at the closed stop, opened, held at the open one, back, left alone."""
    rng, rows = np.random.default_rng(1), empty(ROWS)
    time_s = np.arange(ROWS) * 1e-3
    phase = time_s % CYCLE_S
    up = np.clip((phase - 0.5) / 1.5, 0, 1) - np.clip((phase - 2.5) / 1.5, 0, 1)
    percent = 100 * (3 * up**2 - 2 * up**3)
    speed = np.gradient(percent) * 1e3
    amps = INERTIA * np.gradient(speed) * 1e3 + VISCOUS * speed + COULOMB * np.sign(speed)
    amps += np.sign(percent - REST) * PRELOAD + RISE * (percent - REST)
    push = 3 + np.floor(time_s / CYCLE_S) % 3
    amps = np.where(phase < 0.45, -push, np.where((phase > 2.05) & (phase < 2.45), push, amps))
    amps[(phase > 4.5) | (time_s < 1.0)] = 0.0
    volts = OHM * amps + K_PERCENT * speed
    rows["time_s"], rows["drive"] = time_s, volts / 12.5
    rows["current_a"] = amps + rng.normal(0, 0.002, ROWS)
    rows["output_a_v"] = np.maximum(volts, 0) + rng.normal(0, 0.002, ROWS)
    rows["output_b_v"] = np.maximum(-volts, 0) + rng.normal(0, 0.002, ROWS)
    rows["sensor_a_v"] = 0.5 + 0.04 * percent + rng.normal(0, 0.001, ROWS)
    rows["sensor_b_v"] = 4.5 - 0.04 * percent + rng.normal(0, 0.001, ROWS)
    rows["supply_v"] = 12.5 - 0.02 * rows["drive"] * amps
    rows["part_c"] = rows["heatsink_c"] = 23.0
    marks = [Mark("rest", 0.0, 0.44, 0, "pause")]
    for start_s in np.arange(CYCLE_S, ROWS * 1e-3, CYCLE_S):
        spans = (
            ("stall_close", 0, 0.45),
            ("sweep_open", 0.5, 2.45),
            ("stall_open", 2.05, 2.45),
            ("sweep_return", 2.5, 4.4),
        )
        marks += [Mark(label, start_s + a, start_s + b, len(marks), "hold") for label, a, b in spans]
    return RunData(rows, marks, info={"outcome": "done"})


def plain(run: RunData) -> dict[str, Any]:
    """The same main steps in the obvious way."""
    rows = run.samples
    track_a = (rows["sensor_a_v"] - 0.5) / 0.04
    track_b = (4.5 - rows["sensor_b_v"]) / 0.04
    percent = (track_a + track_b) / 2
    speed = savgol_filter(percent, 39, 3, deriv=1, delta=1e-3)
    acceleration = savgol_filter(percent, 39, 3, deriv=2, delta=1e-3)
    volts = rows["output_a_v"] - rows["output_b_v"]
    amps = np.asarray(rows["current_a"], float)
    stops = [
        float(np.median(amps[(rows["time_s"] >= mark.start_s) & (rows["time_s"] < mark.end_s)]))
        for mark in run.marks[:12]
    ]
    electric = np.linalg.lstsq(
        np.column_stack((amps, speed, np.sign(amps), np.ones(ROWS))), volts, rcond=None
    )[0]
    moving = (np.abs(speed) > 8) & (percent > REST + 2) & (percent < 97)
    design = np.column_stack((
        acceleration[moving], speed[moving], np.sign(speed[moving]), percent[moving] - REST,
        np.ones(moving.sum()),
    ))  # fmt: skip
    torque = np.linalg.lstsq(design, amps[moving], rcond=None)[0]
    noise = [float(np.std(np.diff(values, 2))) for values in (track_a, track_b)]
    worst = float(np.max(np.abs(savgol_filter(track_a - track_b, 31, 1))))
    return {"electric": electric, "torque": torque, "stops": stops, "noise": noise, "worst": worst}


@pytest.fixture(scope="module")
def run() -> RunData:
    return recording()


def took_s(work: Any, *given: Any) -> float:
    """Least processor time of three tries, after one that loads what is needed."""
    work(*given)
    tries = []
    for _ in range(3):
        begun = time.process_time()
        work(*given)
        tries.append(time.process_time() - begun)
    return min(tries)


def test_ten_minutes_of_a_throttle_are_analysed_within_a_second(run: RunData) -> None:
    profile = load_part("throttle-body")
    found = {finding.key: finding for finding in diagnose(run, profile)}
    assert found["friction"].value == pytest.approx(COULOMB, rel=0.02)
    assert found["preload_open"].value == pytest.approx(PRELOAD, rel=0.02)
    assert found["winding_resistance"].value == pytest.approx(OHM - 0.05, rel=0.02)
    assert found["motor_constant"].value * math.radians(85.94) / 100 == pytest.approx(K_PERCENT, rel=0.02)
    ours_s, plain_s = took_s(diagnose, run, profile), took_s(plain, run)
    assert ours_s < 1.0
    assert ours_s < 4 * plain_s, (ours_s, plain_s)

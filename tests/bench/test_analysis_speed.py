"""Time to analyse ten minutes at 1 kHz with a one-second burst at 100 kHz, beside a plain NumPy/SciPy
version.

The recording is synthetic and long; what is timed is the whole diagnosis of a fuel pump. The plain version
does the same main steps in the obvious way: mean per level, a spectrum for the speed, amplitudes by order,
a line through V-I, a line through supply over input current, a periodogram for the noise.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from scipy import signal, stats
from strokebench.data.run import Burst, Mark, RunData
from strokebench.data.samples import empty
from strokebench.diagnose import diagnose
from strokebench.parts import load_part

pytestmark = pytest.mark.slow

ROWS = 600_000
K_SI, OHM, BRUSH_V, TURN_HZ = 0.0138, 0.5, 0.6, 100.0
SEGMENTS = (
    ("rest", "pause", 0.0, 1.0), ("still", "hold", 0.06, 0.2), ("still_release", "pause", 0.0, 0.1),
    ("still", "hold", 0.08, 0.2), ("still_release", "pause", 0.0, 0.1), ("still", "hold", 0.1, 0.2),
    ("still_release", "pause", 0.0, 0.1), ("soft_start", "hold", 1.0, 2.0), ("level", "step", 0.6, 190.0),
    ("burst_level", "burst", 0.6, 1.0), ("level", "step", 0.8, 190.0), ("burst_level", "burst", 0.8, 1.0),
    ("level", "step", 1.0, 200.0), ("burst_level", "burst", 1.0, 1.0), ("release", "pause", 0.0, 13.1),
)  # fmt: skip


def recording() -> RunData:
    """600 000 rows as a pump gives them, a burst of 100 000 values on each level's end (one second at 100
    kHz)."""
    rng, rows = np.random.default_rng(1), empty(ROWS)
    rows["time_s"] = np.arange(ROWS) * 1e-3
    for name in ("drive", "current_a", "output_a_v", "output_b_v", "sensor_a_v", "sensor_b_v"):
        rows[name] = 0.0
    marks, bursts, now_s = [], [], 0.0
    for index, (label, kind, drive, for_s) in enumerate(SEGMENTS):
        part = rows[round(1e3 * now_s) : round(1e3 * (now_s + for_s))]
        turning = label in ("soft_start", "level", "burst_level")
        amps = 5.0 + drive if turning else max(12.4 * drive - BRUSH_V, 0) / OHM if label == "still" else 0.0
        volts = 12.4 * drive
        part["drive"], part["current_a"], part["output_a_v"] = drive, amps, volts
        marks.append(Mark(label, now_s, now_s + for_s, index, kind))
        if label == "burst_level":
            turn_hz = (volts - BRUSH_V - OHM * amps) / K_SI / (2 * np.pi)
            phase = 2 * np.pi * 8 * turn_hz * np.arange(100_000) / 1e5
            values = amps + 0.25 * np.sin(phase) + rng.normal(0, 0.1, 100_000)
            bursts.append(Burst("current_coarse", "A", 1e5, now_s, values, label))
        if label == "release":
            part["output_a_v"] = np.maximum(12.4 - BRUSH_V - OHM * 6.0 - 95 * np.arange(len(part)) * 1e-3, 0)
        now_s += for_s
    rows["supply_v"] = 12.6 - 0.02 * rows["drive"] * rows["current_a"]
    rows["part_c"] = rows["heatsink_c"] = 23.0
    for name in ("current_a", "supply_v", "output_a_v"):
        rows[name] += rng.normal(0, 0.003, ROWS)
    return RunData(rows, marks, bursts=bursts[-1:], info={"outcome": "done"})


def plain(run: RunData) -> dict[str, Any]:
    """The same main steps in the obvious way."""
    rows = run.samples
    means = [
        (float(part["current_a"].mean()), float((part["output_a_v"] - part["output_b_v"]).mean()))
        for mark in run.marks
        if len(part := rows[(rows["time_s"] >= mark.start_s) & (rows["time_s"] < mark.end_s)])
    ]
    burst = run.bursts[0]
    hz, power = signal.periodogram(burst.values, burst.rate_hz, "hann")
    top = hz[np.argmax(power[100:]) + 100] / 8
    turns = top * np.arange(len(burst.values)) / burst.rate_hz
    orders = [abs(np.mean(burst.values * np.exp(-2j * np.pi * n * turns)))
              for n in (1, 2, 4, 6)]  # fmt: skip
    source = stats.linregress(rows["drive"] * rows["current_a"], rows["supply_v"])
    loop = stats.linregress(*np.array(means).T)
    noise = signal.welch(rows["current_a"], 1e3, nperseg=1024)[1]
    return {
        "turn_hz": top,
        "orders": orders,
        "source": source.slope,
        "loop": loop.slope,
        "noise": np.median(noise),
    }


@pytest.fixture(scope="module")
def run() -> RunData:
    return recording()


def test_ten_minutes_are_analysed_within_a_second(run: RunData) -> None:
    profile = load_part("fuel-pump")
    diagnose(run, profile)  # imports
    begun = time.process_time()
    findings = {finding.key: finding for finding in diagnose(run, profile)}
    took_s = time.process_time() - begun
    expected_hz = (12.4 - BRUSH_V - OHM * 6.0) / K_SI / (2 * np.pi)
    assert findings["speed"].value == pytest.approx(60 * expected_hz, rel=0.01)
    assert findings["source_resistance"].value == pytest.approx(20.0, rel=0.05)
    assert took_s < 1.0


def test_the_analysis_takes_at_most_four_times_as_long_as_the_plain_version(run: RunData) -> None:
    profile = load_part("fuel-pump")

    def shortest_s(work: Callable[[], Any]) -> float:
        took = []
        for _ in range(3):
            begun = time.process_time()
            work()
            took.append(time.process_time() - begun)
        return min(took)

    assert shortest_s(lambda: diagnose(run, profile)) <= 4 * shortest_s(lambda: plain(run))


def test_speed_of_the_diagnosis(benchmark: Any, run: RunData) -> None:
    profile = load_part("fuel-pump")
    benchmark(diagnose, run, profile)


def test_speed_of_the_plain_version(benchmark: Any, run: RunData) -> None:
    found = benchmark(plain, run)
    assert found["turn_hz"] > 0

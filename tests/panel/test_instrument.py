"""The instrument view's pyramid and numbers: against the plain rows, at any zoom."""

from __future__ import annotations

import time

import numpy as np
import pytest
from strokebench.data.run import Mark, RunData
from strokebench.data.samples import empty
from strokebench.panel.instrument.pyramid import FACTOR, Pyramid, Stretch, buckets, of_rows
from strokebench.panel.instrument.sources import MEASURED_WORDS, run_source
from strokebench.panel.strip import BUCKET_ROWS, CHANNELS, FINE_ROWS, Strip
from strokebench.parts import load_part

DRAWN_S = 0.02
"""Drawn in milliseconds: the server's share of it, on a machine with room."""


def _noise(rows: int) -> tuple[np.ndarray, np.ndarray]:
    return np.arange(rows) * 1e-3, np.random.default_rng(rows).normal(size=(2, rows))


@pytest.mark.parametrize("rows", [1, 5, 64, 3001, 30_000])
@pytest.mark.parametrize("points", [8, 500])
def test_the_extremes_of_any_window_are_those_of_its_rows(rows: int, points: int) -> None:
    time_s, values = _noise(rows)
    pyramid = of_rows(time_s, values)
    rng = np.random.default_rng(1)
    for _ in range(20):
        start_s, end_s = np.sort(rng.uniform(-0.1, rows * 1.1e-3, 2))
        part = pyramid.stretch(start_s, end_s, points)
        assert np.all(np.diff(part.time_s) > 0)
        inside = (time_s >= start_s) & (time_s <= end_s)
        if not inside.any():
            continue
        covered = (time_s >= part.time_s[0]) & (time_s <= time_s[inside][-1])
        assert np.all(part.low.min(1) <= values[:, covered].min(1) + 1e-6)
        assert np.all(part.high.max(1) >= values[:, covered].max(1) - 1e-6)
        assert len(part) <= max(points, FACTOR**3) + 2 + FACTOR * len(pyramid.levels)


@pytest.mark.parametrize("rows", [600_000, 30_001, 3001])
def test_a_spike_of_twenty_milliseconds_is_drawn_in_full(rows: int) -> None:
    """Every n-th row made 5.5 A of 12 A."""
    current_a = np.full((1, rows), 5.0)
    current_a[0, rows // 3 : rows // 3 + 20] = 12.0
    current_a[0, rows - 1] = -3.0  # the very last row has not filled a bucket of any coarse level
    part = of_rows(np.arange(rows) * 1e-3, current_a).stretch(-np.inf, np.inf, 900)
    assert part.high.max() == 12.0 and part.low.min() == -3.0


def test_a_gap_hides_nothing() -> None:
    values = np.full((1, 10_000), np.nan)
    values[0, 4321], values[0, 4322] = 7.0, -7.0
    part = of_rows(np.arange(10_000) * 1e-3, values).stretch(0.0, 10.0, 50)
    assert np.nanmax(part.high) == 7.0 and np.nanmin(part.low) == -7.0


def test_a_ring_forgets_the_oldest_and_nothing_else() -> None:
    time_s, values = _noise(5000)
    pyramid = Pyramid(2, 1000)
    for start in range(0, 5000, 50):
        part = slice(start, start + 50)
        pyramid.append(Stretch(time_s[part], values[:, part], values[:, part], values[:, part]))
    assert pyramid.extent == (4.0, 4.999)
    whole = pyramid.stretch(-np.inf, np.inf, 100)
    assert whole.high.max(1) == pytest.approx(values[:, 4000:].max(1), abs=1e-6)
    fine = pyramid.stretch(4.5005, 4.6005, 500)
    assert fine.mean[0] == pytest.approx(values[0, 4500:4602], abs=1e-6)


def test_ten_minutes_are_drawn_in_milliseconds_at_any_zoom() -> None:
    time_s, values = np.arange(600_000) * 1e-3, np.zeros((9, 600_000))
    pyramid = of_rows(time_s, values)
    took_s = []
    for length_s in (600.0, 60.0, 6.0, 0.6):
        began_s = time.perf_counter()
        pyramid.stretch(100.0, 100.0 + length_s, 900)
        took_s.append(time.perf_counter() - began_s)
    print(f"longest stretch: {1000 * max(took_s):.1f} ms")
    assert min(took_s) <= DRAWN_S


def test_numbers_are_those_of_the_rows() -> None:
    rows = empty(3000)
    rows["time_s"] = np.arange(3000) * 1e-3
    rows["current_a"], rows["sensor_a_v"], rows["drive"] = np.linspace(1, 4, 3000), 2.5, 0.25
    profile = load_part("throttle-body")
    source = run_source(RunData(rows, [Mark("rest", 0.0, 1.0)]), [], profile)
    found = source.numbers(1.0, 2.0)
    by_name = {name: values for name, *values in found["rows"]}
    inside = rows["current_a"][1000:2001]
    expected = (inside[0], inside[-1], inside[-1] - inside[0], inside.min(), inside.max(), inside.mean())
    assert by_name["Current, A"] == pytest.approx(expected, abs=2e-4)
    assert by_name["Drive, %"][0] == 25.0 and by_name["Position, %"][0] == pytest.approx(50.0)
    assert "Supply, V" not in by_name, "what was not measured has no number"
    assert found["buckets"] == 1001
    assert source.numbers(9.0, 9.5)["rows"] == []


def test_the_last_hour_has_the_strips_own_axis_and_the_segments_of_a_run() -> None:
    now_s = [10.0]
    strip = Strip(lambda: now_s[0])
    now_s[0] = 12.0
    rows = empty(4 * BUCKET_ROWS)
    rows["time_s"] = 5.0 + np.arange(len(rows)) * 1e-3
    for name in CHANNELS:
        rows[name] = 1.0
    rows["current_a"][130] = 9.0
    strip.append(rows)
    assert strip.history.extent is not None and strip.latest() is not None
    assert strip.history.extent[1] <= strip.latest().time_s <= strip.history.extent[1] + FINE_ROWS * 1e-3
    assert strip.history.stretch(-np.inf, np.inf, 4).high[1].max() == 9.0
    strip.mark(3, [Mark("rest", 5.0, 5.1), Mark("sweep", 5.1, float("nan"))])
    begins_s = strip.begins(3)
    assert begins_s is not None and strip.begins(4) is None
    (_, start_s, end_s), (label, _, running) = strip.segments()
    assert (start_s, end_s) == pytest.approx((5.0 + begins_s, 5.1 + begins_s))
    assert label == "sweep" and running is None


def test_buckets_keep_lowest_highest_and_mean() -> None:
    part = buckets(np.arange(6.0), np.array([[1.0, 5.0, 3.0, 0.0, 0.0, -6.0]]), 3)
    assert (part.low.tolist(), part.high.tolist(), part.mean.tolist()) == ([[1, -6]], [[5, 0]], [[3, -2]])
    assert len(MEASURED_WORDS) == 9

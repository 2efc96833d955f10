"""Estimators of turning parts on signals that others made: scipy.signal waveforms, segment arithmetic,
closed forms.

Ripple orders: N = lcm(segments, poles), published as 2p k/gcd in Vazquez-Sanchez et al., IEEE Trans. Ind.
Electron. 59(3), 2012 (from memory); S = 12 with two poles is the case in which a ring-network calculation
gave the second harmonic slightly above the first (0.2134 A against 0.2119 A).
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import signal
from strokebench.diagnose.stats import Floats
from strokebench.diagnose.turning.commutation import (
    Motor,
    autocorrelation,
    faint_rate,
    one_turn,
    order_amplitude,
    turn_rate,
)
from strokebench.diagnose.turning.turns import random_part
from strokebench.sim.plants.rotary import shape

RATE_HZ = 20_000.0
TIME_S = np.arange(8000) / RATE_HZ


@pytest.mark.parametrize(
    ("segments", "poles", "ripples"),
    [
        (8, 2, 8),
        (7, 2, 14),
        (5, 2, 10),
        (10, 2, 10),
        (12, 2, 12),
        (8, 4, 8),
        (10, 4, 20),
        (12, 4, 12),
        (7, 4, 28),
    ],
)
def test_ripples_per_turn_of_published_windings(segments: int, poles: int, ripples: int) -> None:
    assert Motor(segments, poles).ripples == ripples


def coils(turn_hz: float, segments: int, poles: int) -> Floats:
    """Sum of the rectified EMFs of all coils, mean 1, over TIME_S."""
    angle = 2 * np.pi * turn_hz * TIME_S
    phases = np.arange(segments) * 2 * np.pi / segments
    wave = np.abs(np.sin(poles / 2 * (angle[:, None] + phases))).sum(axis=1)
    return np.asarray(wave / wave.mean(), float)


@pytest.mark.parametrize(("segments", "poles"), [(8, 2), (7, 2), (10, 2), (12, 2)])
def test_height_of_the_ripple_line_by_the_series_of_a_rectified_sine(segments: int, poles: int) -> None:
    # |sin| = 2/pi (1 - 2 sum of cos(2 m x) / (4 m^2 - 1)): of a sum of coils only the ripple's order is left
    motor, turn_hz = Motor(segments, poles), 11.7
    found, _ = order_amplitude(coils(turn_hz, segments, poles), RATE_HZ, motor.ripples * turn_hz)
    assert found == pytest.approx(2 / (motor.ripples**2 - 1), rel=0.01)


@pytest.mark.parametrize(
    ("segments", "poles", "percent"), [(8, 2, 7.81), (7, 2, 2.53), (10, 2, 4.98), (12, 2, 3.45)]
)
def test_simulated_commutator_has_the_ripple_of_segment_arithmetic(
    segments: int, poles: int, percent: float
) -> None:
    # peak to peak over mean: reference sheet of the project, computed there with numpy
    turn = np.arange(20_000) * 2 * np.pi / 20_000
    assert 100 * np.ptp(shape(turn, segments, poles // 2)) == pytest.approx(percent, rel=0.03)


@pytest.mark.parametrize(("segments", "poles"), [(8, 2), (7, 2), (10, 2), (12, 2), (10, 4), (7, 4)])
@pytest.mark.parametrize("wrong_by", [0.8, 1.0, 1.3])
@pytest.mark.parametrize("turn_hz", [41.3, 97.7])
def test_speed_of_summed_coils(segments: int, poles: int, wrong_by: float, turn_hz: float) -> None:
    noise = np.random.default_rng(3).normal(0, 0.004, len(TIME_S))
    found = turn_rate(
        coils(turn_hz, segments, poles) + noise, RATE_HZ, Motor(segments, poles), wrong_by * turn_hz
    )
    assert found is not None
    assert found.hz == pytest.approx(turn_hz, rel=0.002)


def test_speed_where_the_second_harmonic_is_the_taller_one() -> None:
    turn_hz, motor = 63.0, Motor(12, 2)
    phase = 2 * np.pi * 12 * turn_hz * TIME_S
    values = 5 + 0.2119 * np.sin(phase) + 0.2134 * np.sin(2 * phase + 1.0)
    values += np.random.default_rng(1).normal(0, 0.05, len(TIME_S))
    found = turn_rate(values, RATE_HZ, motor, 70.0)
    assert found is not None and found.hz == pytest.approx(turn_hz, rel=0.002)
    tallest = np.argmax(np.abs(np.fft.rfft(values - values.mean()))) * RATE_HZ / len(values)
    assert tallest == pytest.approx(
        24 * turn_hz, rel=0.01
    )  # which is where the tallest line alone would lead


@pytest.mark.parametrize("shape", ["sawtooth", "square"])
def test_speed_of_scipy_waveforms(shape: str) -> None:
    phase = 2 * np.pi * 8 * 52.4 * TIME_S
    wave = signal.sawtooth(phase) if shape == "sawtooth" else signal.square(phase, 0.3)
    found = turn_rate(6 + 0.3 * wave, RATE_HZ, Motor(8, 2), 45.0)
    assert found is not None and found.hz == pytest.approx(52.4, rel=0.001)


@pytest.mark.parametrize("duty", [0.15, 0.3])
def test_speed_and_order_of_dips_at_every_brush(duty: float) -> None:
    """scipy.signal.square dips twice a turn, deeper than the ripple: the period is then half a turn."""
    turn_hz, motor = 96.0, Motor(8, 2)
    phase = 2 * np.pi * turn_hz * TIME_S
    values = 6 + 0.25 * np.sin(8 * phase) - 0.8 * (signal.square(2 * phase, duty) + 1) / 2
    found = turn_rate(values, RATE_HZ, motor, 105.0)
    assert found is not None and found.hz == pytest.approx(turn_hz, rel=0.002)
    amplitude, noise = order_amplitude(values, RATE_HZ, 2 * found.hz)
    assert amplitude == pytest.approx(
        2 * 0.8 / np.pi * np.sin(np.pi * duty), rel=0.02
    )  # Fourier, pulse train
    assert noise < 0.05 * amplitude


def test_faint_ripple_far_below_the_noise_of_single_samples() -> None:
    rng = np.random.default_rng(5)
    values = 5 + 0.02 * np.sin(2 * np.pi * 14 * 71.0 * TIME_S) + rng.normal(0, 0.1, len(TIME_S))
    found = faint_rate(values, RATE_HZ, Motor(7, 2), 60.0)
    assert found is not None and found.hz == pytest.approx(71.0, rel=0.003)


def test_noise_alone_has_no_speed() -> None:
    found = [
        turn_rate(np.random.default_rng(seed).normal(5, 0.1, 8000), RATE_HZ, Motor(7, 2), 60.0)
        for seed in range(40)
    ]
    assert sum(speed is not None for speed in found) <= 1


def test_chirp_has_no_constant_speed_that_would_be_believed() -> None:
    values = 5 + 0.2 * signal.chirp(TIME_S, 300.0, TIME_S[-1], 900.0)
    found = turn_rate(values, RATE_HZ, Motor(8, 2), 75.0)
    assert found is None or found.repeats < 0.5


def test_autocorrelation_agrees_with_scipy() -> None:
    values = np.random.default_rng(2).normal(0, 1, 500)
    full = signal.correlate(values, values)[499:] / np.arange(500, 0, -1)
    np.testing.assert_allclose(autocorrelation(values), full / full[0], atol=1e-10)


def test_one_turn_gives_the_wave_back() -> None:
    turn_hz = 41.0
    values = (
        10 + 0.4 * np.cos(2 * np.pi * turn_hz * TIME_S) + np.random.default_rng(4).normal(0, 0.1, len(TIME_S))
    )
    degrees, mean = one_turn(values, RATE_HZ, turn_hz)
    np.testing.assert_allclose(mean, 10 + 0.4 * np.cos(np.radians(degrees)), atol=0.06)


def test_random_part_is_the_noise_in_the_band_whatever_lines_stand_in_it() -> None:
    rng = np.random.default_rng(6)
    time_s = np.arange(1000) * 1e-3
    white = rng.normal(0, 0.1, 1000)
    lines = 2.0 * np.sin(2 * np.pi * 97 * time_s) + 1.0 * np.sin(2 * np.pi * 203.5 * time_s)
    expected = 0.1 * np.sqrt((420 - 25) / 500)
    assert random_part(5 + white, 1e-3)[0] == pytest.approx(expected, rel=0.12)
    assert random_part(5 + white + lines, 1e-3)[0] == pytest.approx(expected, rel=0.25)
